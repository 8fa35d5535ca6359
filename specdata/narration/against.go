package narration

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/lexicon"
	"proofload/specdata/wording"
)

// What speech asserts against the notes and the state of the job, beyond what single
// claims say.

// against judges a clause by what the records around it forbid, discard and require.
func (j *judge) against(h *heard, before []claim.Named) {
	j.limits(h)
	j.recheck(h)
	j.dismisses(h)
	j.inexactly(h)
	if h.c().Denied || h.c().Past {
		return
	}
	j.brakeAndGear(h)
	j.hangs(h)
	j.blows(h)
	j.forbiddenPlace(h)
	j.goesBack(h, before)
	j.hotNotCold(h)
	j.terminal(h)
	j.waits(h)
}

// where is a place that a note forbids: "never on the lining".
type where struct{ prep, noun, note string }

var preps = []string{"on", "onto", "into", "over", "under", "against"}

// forbidden lists the places that a text forbids.
func (j *judge) forbidden(text string) []where {
	var out []where
	ts := j.lex.Tokens(text)
	for i, t := range ts {
		if !slices.Contains([]string{"never", "no", "none", "not", "don't"}, t.Stem) {
			continue
		}
		for k := i + 1; k < len(ts) && k <= i+7; k++ {
			if strings.ContainsAny(ts[k].Before, ".;:") {
				break
			}
			if noun := placeAt(ts, k); noun != "" {
				out = append(out, where{ts[k].Stem, noun, text})
			}
		}
	}
	return out
}

// placeAt returns the noun of "on the lining" at a word, "" where none is there.
func placeAt(ts []lexicon.Token, k int) string {
	if !slices.Contains(preps, ts[k].Stem) {
		return ""
	}
	for k++; k < len(ts) && slices.Contains([]string{"the", "a", "an", "its", "any", "your", "this", "that"}, ts[k].Stem); k++ {
	}
	if k >= len(ts) || len(ts[k].Stem) < 4 || slices.Contains([]string{"them", "this", "that", "these", "those"}, ts[k].Stem) {
		return ""
	}
	return ts[k].Stem
}

// forbiddenPlace finds speech that puts something where a note of the step says never.
func (j *judge) forbiddenPlace(h *heard) {
	ts := h.tokens()
	for k := range ts {
		noun := placeAt(ts, k)
		if noun == "" || slices.ContainsFunc(ts[max(0, k-3):k], func(t token) bool {
			return slices.Contains([]string{"none", "not", "never", "no", "nothing", "don't", "without", "keep", "avoid"}, t.Stem)
		}) {
			continue
		}
		for _, a := range j.near(h, 1) {
			for _, w := range j.forbidden(a.Op.Note + "; " + j.w.Procedure.Steps[a.Step].Text) {
				if w.noun == noun && (w.prep == ts[k].Stem || ts[k].Stem == "onto") && !j.saysOwn(h, a) {
					j.say(h, "place", specdata.Error, a, "says \"%s %s\", and the step says %s", ts[k].Text, noun, strings.TrimSuffix(strings.Trim(w.note, "; "), "."))
					return
				}
			}
		}
	}
}

// saysOwn reports whether a clause is the step's own sentence read out.
func (j *judge) saysOwn(h *heard, a *claim.Act) bool {
	return strings.Contains(strings.ToLower(j.w.Procedure.Steps[a.Step].Text), strings.ToLower(h.words()))
}

// gone lists the things that the procedure discards or renews.
func (j *judge) gone() []*claim.Thing {
	var out []*claim.Thing
	for _, a := range j.w.Acts {
		replaced := a.Thing != nil && a.Thing.Fastener != nil && a.Thing.Fastener.Reuse != nil && a.Thing.Fastener.Reuse.Rule == "replace"
		if a.Thing != nil && (replaced || a.Thing.Fastener == nil && (a.Op.Do == specdata.Discard || a.Op.New)) && !slices.Contains(out, a.Thing) {
			out = append(out, a.Thing)
		}
	}
	return out
}

// goesBack finds a part that is renewed and is said to be used again.
func (j *judge) goesBack(h *heard, before []claim.Named) {
	c := h.c()
	if c.IsAct("discard") {
		return
	}
	again := slices.ContainsFunc(c.Claims, func(q claim.Claim) bool {
		return q.Kind == claim.OfNewness && q.Value == "reuse" && !q.Denied || q.Kind == claim.OfNewness && q.Value == "old" && !q.Denied && c.IsAct("fit", "start") && !c.IsAct("remove", "check", "inspect") && !shows(h)
	})
	keeps := false
	for _, t := range h.tokens() {
		keeps = keeps || t.Stem == "keep" || t.Stem == "save"
		again = again || t.Stem == "reused" || t.Stem == "reusable"
	}
	if !again && !(keeps && slices.ContainsFunc(c.Claims, func(q claim.Claim) bool { return q.Kind == claim.OfNewness && q.Value == "old" })) {
		return
	}
	names := c.Names
	if len(names) == 0 {
		names = before
		for _, a := range j.near(h, 0) { // "the old one goes back in"
			if slices.Contains(j.gone(), a.Thing) {
				names = append(slices.Clone(names), claim.Named{Candidates: []*claim.Thing{a.Thing}})
			}
		}
	}
	for _, t := range j.gone() {
		for _, n := range names {
			if n.Weak || !slices.Contains(n.Candidates, t) || slices.ContainsFunc(n.Candidates, func(o *claim.Thing) bool { return !slices.Contains(j.gone(), o) && o.Fastener != nil }) {
				continue
			}
			i := max(0, slices.IndexFunc(j.w.Acts, func(a *claim.Act) bool { return a.Thing == t && (a.Op.Do == specdata.Discard || a.Op.New) }))
			j.say(h, "newness", specdata.Error, j.w.Acts[i], "says that the %s is used again, and a new one is fitted", specdata.InSentence(t.Title))
			return
		}
	}
}

// brakeAndGear judges how the parking brake and the gear are said to be set.
func (j *judge) brakeAndGear(h *heard) {
	brake, gear, _ := claim.BrakeAndGear(h.tokens())
	if brake == "" && gear == "" {
		return
	}
	for _, a := range j.w.Acts {
		if a.Op.Do != specdata.Secure || j.rows[h.at].step > a.Step+1 {
			continue
		}
		switch {
		case brake != "" && a.Op.ParkingBrake != "" && brake != a.Op.ParkingBrake:
			j.say(h, "state", specdata.Error, a, "has the parking brake %s, and the step has it %s", brake, a.Op.ParkingBrake)
		case gear != "" && a.Op.Gear != "" && gear != a.Op.Gear:
			j.say(h, "state", specdata.Error, a, "has the gear %s, and the step has it %s", gear, a.Op.Gear)
		}
		return
	}
}

// hangs finds a part that is left to hang on its hose or lead.
func (j *judge) hangs(h *heard) {
	var hangs, on bool
	for _, t := range h.tokens() {
		hangs = hangs || slices.Contains([]string{"hang", "dangle", "hanging", "dangling", "swing"}, t.Stem)
		on = on || t.Stem == "hose" || t.Stem == "lead" || t.Stem == "wire" && !hangs
		if slices.Contains([]string{"hook", "bungee", "string", "strap", "cable"}, t.Stem) {
			return
		}
	}
	if !hangs || !on {
		return
	}
	for _, a := range j.near(h, 1) {
		if a.Op.Do == specdata.Hang {
			j.say(h, "place", specdata.Error, a, "lets it hang on its hose or lead, and the step hangs it up")
			return
		}
	}
}

// blows finds dust that is blown, where a caution mentions brake dust.
func (j *judge) blows(h *heard) {
	ts := h.tokens()
	found := false
	for i, t := range ts {
		found = found || t.Stem == "blow" || t.Stem == "airline" || phraseAt(ts, i, "air line") || phraseAt(ts, i, "air gun") || phraseAt(ts, i, "compressed air") || phraseAt(ts, i, "air hose")
		if slices.Contains([]string{"nut", "bolt", "undo", "zip", "spin", "can't", "cant", "instead"}, t.Stem) {
			return
		}
	}
	if !found {
		return
	}
	for _, a := range j.near(h, 1) {
		for _, c := range j.w.Procedure.Steps[a.Step].Cautions {
			if c.Hazard == "brake-dust" {
				j.say(h, "tool", specdata.Error, a, "blows the dust about, and the caution says: %s", c.Text)
				return
			}
		}
	}
}

// hotNotCold finds speech that has the job done hot where it wants it cold.
func (j *judge) hotNotCold(h *heard) {
	ts := h.tokens()
	hot := false
	for i, t := range ts {
		switch t.Stem {
		case "if", "when", "until", "till", "can", "could", "would", "may", "might", "before", "after", "again", "then", "get", "heater", "burn", "scald", "was":
			return
		case "hot", "warm":
			for k := max(0, i-3); k < i; k++ {
				hot = hot || slices.Contains([]string{"still", "is", "it's", "its", "nice", "while", "good", "pretty", "nicely"}, ts[k].Stem)
			}
		}
	}
	if !hot {
		return
	}
	for r := h.at; r < len(j.rows); r++ {
		for _, a := range j.rows[r].acts {
			if a.Op.Do == specdata.RunEngine || a.Op.Do == specdata.RoadTest {
				return
			}
			f := a.Thing.Fastener
			cold := f != nil && f.Tightening != nil && f.Tightening.State == specdata.StateCold && a.Op.Do == specdata.Tighten
			if cold || specdata.HasWord(a.Op.Note+"; "+a.Op.Accept, "cold") || r <= h.at+1 && specdata.HasWord(j.w.Procedure.Steps[a.Step].Text, "cold", "cool") {
				j.say(h, "state", specdata.Error, a, "says it is hot, and the job is done cold")
				return
			}
		}
	}
}

// limitWords say that a number is a limit and no reading.
var limitWords = strings.Fields("between max maximum minimum least most limit under over less tolerance within wants want should below above exceed spec")

// limits judges a limit that is said against those of the measurements around.
func (j *judge) limits(h *heard) {
	ts := h.tokens()
	limit := false
	for i, t := range ts {
		limit = limit || slices.Contains(limitWords, t.Stem) || t.Stem == "than" && i > 0 || phraseAt(ts, i, "up to") || phraseAt(ts, i, "down to")
	}
	if !limit {
		return
	}
	var bounds []*claim.Act
	for _, around := range []int{1, 2} {
		for _, a := range j.near(h, around) {
			if (!a.Op.Low.IsZero() || !a.Op.High.IsZero()) && !slices.Contains(bounds, a) {
				bounds = append(bounds, a)
			}
		}
		if len(bounds) > 0 {
			break
		}
	}
	if len(bounds) == 0 {
		return
	}
	for i, q := range h.c().Claims {
		if q.Kind != claim.OfQuantity || q.Number == nil {
			continue
		}
		unit := q.Unit
		if unit == "" { // the first end of a range: "between twenty five and forty five millimetres"
			if i+1 < len(h.c().Claims) && h.c().Claims[i+1].From-q.To <= 1 && h.text.Tokens[max(0, q.From-1)].Stem == "between" {
				unit = h.c().Claims[i+1].Unit
			}
		}
		if unit == "" || claim.IsTorque(q) {
			continue
		}
		known, right := false, false
		for _, a := range bounds {
			for _, b := range []specdata.Quantity{a.Op.Low, a.Op.High} {
				if v, ok := claim.In(b, unit); ok {
					known, right = true, right || q.Number.Is(v)
				}
			}
		}
		if known && !right {
			j.say(h, "limit", specdata.Error, bounds[0], "says \"%s\", and the limit is %s", h.text.Said(q.From, q.To), wording.Limit(bounds[0].Op))
			return
		}
	}
}

// terminal finds the battery taken off or put on in the wrong order.
func (j *judge) terminal(h *heard) {
	said := map[string]bool{}
	for _, t := range h.tokens() {
		said[t.Stem] = true
	}
	for _, a := range j.near(h, 1) {
		switch {
		case a.Op.Do == specdata.Isolate && a.Op.Target == "electrics:battery" && said["positive"] && !said["negative"] && (said["first"] || said["off"]):
			j.say(h, "order", specdata.Error, a, "takes the positive side off, and the negative comes off first")
			return
		case a.Op.Do == specdata.Restore && a.Op.Target == "electrics:battery" && said["negative"] && said["first"] && !said["off"]:
			j.say(h, "order", specdata.Error, a, "puts the negative side on first, and it goes on last")
			return
		}
	}
}

// waits judges how long is waited: "give it two minutes", where the step has ten.
func (j *judge) waits(h *heard) {
	ts := h.tokens()
	waits := len(ts) <= 3
	for _, t := range ts {
		waits = waits || slices.Contains([]string{"wait", "soak", "leave", "let", "give", "stand", "sit"}, t.Stem)
	}
	if !waits {
		return
	}
	for _, q := range h.c().Claims {
		if q.Kind != claim.OfQuantity || q.Unit != "min" && q.Unit != "h" && q.Unit != "s" {
			continue
		}
		for _, a := range j.near(h, 1) {
			if a.Op.Do != specdata.Wait {
				continue
			}
			if want, known := j.w.Waits(a, q.Unit); known && !q.Number.Is(want) && q.Number.Readings[0] < want {
				j.say(h, "time", specdata.Error, a, "says \"%s\", and the step waits longer: %s", h.text.Said(q.From, q.To), strings.Trim(specdata.Display(a.Op.For)+" "+a.Op.Note, " "))
			}
		}
	}
}
