package narration

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
)

// Speech of other vehicles, and speech that waves away what the procedure owes.

// vehicleWords are words for a vehicle of another kind than the one on the lift.
var vehicleWords = strings.Fields("car vehicle van truck lorry model make engine version generation marque type variant brand")

// otherWords make a vehicle another one.
var otherWords = strings.Fields("other another different some most older earlier later newer previous facelift")

// ofOthers reports whether a clause speaks of other vehicles: "on some other cars this nut
// is done up to three hundred", and what goes on in the same sentence.
func ofOthers(h *heard) bool {
	for i, steps := h.clause, 0; i >= 0 && steps < 3; i, steps = i-1, steps+1 {
		c := &h.text.Clauses[i]
		ts := h.text.Tokens[c.From:c.To]
		other, own := false, false
		for k, t := range ts {
			n := min(len(ts), k+4)
			follows := slices.ContainsFunc(ts[k+1:n], func(t token) bool { return slices.Contains(vehicleWords, t.Stem) })
			other = other || slices.Contains(otherWords, t.Stem) && follows || phraseAt(ts, k, "a lot of car") || phraseAt(ts, k, "my own car")
			own = own || slices.Contains([]string{"ours", "here"}, t.Stem) || (t.Stem == "this" || t.Stem == "these") &&
				(k+1 == len(ts) || slices.Contains(vehicleWords, ts[k+1].Stem) || ts[k+1].Stem == "one" || k > 0 && ts[k-1].Stem == "on" && ts[k+1].Before != "")
		}
		switch {
		case other:
			return true
		case own, len(ts) > 0 && ts[0].Stem == "but", strings.ContainsAny(h.text.Tokens[c.From].Before, ".;!?"):
			return false
		}
	}
	return false
}

// owed are the acts that somebody must be told of, whatever a speaker thinks of them.
var owed = []specdata.Verb{specdata.Calibrate, specdata.Relearn, specdata.Reset, specdata.Align, specdata.Bleed, specdata.Advise, specdata.Pump, specdata.RoadTest, specdata.LockVerb, specdata.ProveDead, specdata.Restore}

// dismissals are words that wave something away.
var dismissals = []string{
	"not need", "doesn't need", "don't need", "won't need", "no need", "needn't", "not necessary", "isn't necessary", "unnecessary", "don't bother", "not bother", "not require", "doesn't require",
	"don't have to", "not have to", "doesn't have to", "without calibrat", "skip", "don't worry about", "can leave out", "forget about",
}

// dismisses finds speech that says an act is not needed, and the procedure owes it: "the
// steering-angle sensor does not need anything after this".
func (j *judge) dismisses(h *heard) {
	c, ts := h.c(), h.tokens()
	at := -1
	for i, t := range ts {
		if slices.ContainsFunc(dismissals, func(p string) bool { return phraseAt(ts, i, p) }) && at < 0 {
			at = i
		}
		if slices.Contains([]string{"yet", "until", "till", "now", "more", "unless", "if", "before", "again", "special", "twice", "much"}, t.Stem) || slices.Contains([]string{"we", "you"}, t.Stem) && at < 0 && phraseAt(ts, i, "we don't need the") {
			return
		}
	}
	if at < 0 {
		return
	}
	verbs := c.Verbs()
	for _, a := range j.w.Acts {
		if !slices.Contains(owed, a.Op.Do) || j.optional(a) {
			continue
		}
		_, id := a.Op.Target.Split()
		own := j.wordsOf(id)
		said := 0
		for _, t := range ts {
			if slices.Contains(own, t.Stem) {
				said++
			}
		}
		words := len(strings.Split(id, "-"))
		named := a.Thing != nil && c.Mentions(a.Thing) || said > 0 && said >= min(2, words)
		done := slices.Contains(verbs, a.Op.Do) && (len(c.Names) == 0 || named)
		if done || named && (len(c.Acts) == 0 || slices.Contains(verbs, a.Op.Do)) {
			j.say(h, "left-out", specdata.Error, a, "says that it is not needed, and the procedure has it: %s %s", a.Op.Do, strings.ReplaceAll(id, "-", " "))
			return
		}
	}
}

// recheck judges after how far the fasteners are checked again, by every fastener of the
// procedure that has a recheck.
func (j *judge) recheck(h *heard) {
	for _, q := range h.c().Claims {
		if !h.text.Rechecks(q) {
			continue
		}
		var owes *claim.Act
		right := false
		for _, a := range j.w.Acts {
			if a.Thing == nil || a.Thing.Fastener == nil {
				continue
			}
			v, known := claim.In(a.Thing.Fastener.Recheck(), q.Unit)
			if !known {
				continue
			}
			if owes == nil || a.Op.Do == specdata.Advise {
				owes = a
			}
			right = right || q.Number.Is(v) || q.Unit != "km" && q.Number.Readings[0] > 0.9*v && q.Number.Readings[0] < 1.1*v
		}
		if owes != nil && !right {
			j.say(h, "number", specdata.Error, owes, "says \"%s\", and the recheck is due after %s", h.text.Said(q.From, q.To), specdata.Display(owes.Thing.Fastener.Recheck()))
		}
	}
}

// inexact are words of an adjustment that is not counted or measured.
var inexact = []string{"roughly", "about", "approximately", "near enough", "close enough", "good enough", "more or less", "or thereabout", "give or take", "ballpark"}

// inexactly finds a soft word on an adjustment that has to come out the same, or within
// limits: the turns of a track rod end, an end float.
func (j *judge) inexactly(h *heard) {
	ts := h.tokens()
	at := -1
	for i := range ts {
		if slices.ContainsFunc(inexact, func(p string) bool { return phraseAt(ts, i, p) }) {
			at = i
			break
		}
	}
	if at < 0 || slices.ContainsFunc(h.c().Claims, claim.IsTorque) {
		return
	}
	said := func(words ...string) bool {
		return slices.ContainsFunc(ts, func(t token) bool { return slices.Contains(words, t.Stem) })
	}
	for _, a := range j.near(h, 1) {
		text := a.Op.Note + "; " + a.Op.Accept
		same := specdata.HasWord(text, "same", "exactly", "equal") && (a.Op.Do == specdata.Check || a.Op.Do == specdata.Fit || a.Op.Do == specdata.Align || a.Op.Do == specdata.Measure)
		if same && slices.ContainsFunc(j.wordsOf(text), func(w string) bool { return len(w) > 3 && w != "same" && w != "number" && said(w) }) {
			j.say(h, "soft", specdata.Error, a, "says \"%s\", and the step wants %s", ts[at].Text, strings.Trim(text, "; "))
			return
		}
	}
}
