package claim

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/lexicon"
)

// What a written sentence says of its acts that speech, which looks ahead and back, may
// say of others: the reverse of the act, the product and where it goes, the brake and the
// gear, what is kept, and the distance to the recheck.

// written judges what only sentences are held to.
func (j *judging) written(c *Clause) {
	if c.Denied || c.Past {
		return
	}
	j.reverse(c)
	j.product(c)
	j.appliedTo(c)
	j.brakeAndGear(c)
	j.keeps(c)
}

// reverses holds, by the class of a verb, the acts that undo what it does.
var reverses = map[string][]specdata.Verb{
	"tighten": {specdata.Slacken, specdata.Remove, specdata.BackOff},
	"slacken": {specdata.Tighten, specdata.StageVerb, specdata.Snug},
	"raise":   {specdata.Lower},
	"lower":   {specdata.Raise},
}

// reverse judges "tighten the wheel nuts by half a turn" over an act that slackens them.
func (j *judging) reverse(c *Clause) {
	if len(c.Acts) != 1 || c.Later || slices.Contains([]string{"before", "until", "when", "once", "after", "while", "if", "because", "that", "which", "so"}, j.t.Tokens[c.From].Stem) {
		return
	}
	undo := reverses[c.Acts[0]]
	if undo == nil {
		return
	}
	on := filter(j.scope.Acts, func(a *Act) bool { return candidate(c.Names, a.Thing) })
	if len(c.Names) == 0 {
		on = j.scope.Acts
	}
	if len(on) == 0 || slices.ContainsFunc(on, func(a *Act) bool { return !slices.Contains(undo, a.Op.Do) }) ||
		slices.ContainsFunc(j.scope.Acts, func(a *Act) bool { return slices.Contains(does[c.Acts[0]], a.Op.Do) }) {
		return
	}
	for i := c.From; i < c.To; i++ {
		if as := acts(j.t.Tokens[i:c.To]); len(as) > 0 && as[0][0].at == 0 {
			if i > 0 && slices.Contains([]string{"the", "a", "an", "of", "its", "their", "this", "that", "same"}, j.t.Tokens[i-1].Stem) {
				return // "the reverse of the tightening order" names an order, no act
			}
			j.say(Claim{Kind: OfReverse, From: i, To: i + 1}, on, true, "the act is to %s %s", on[0].Op.Do, on[0].Op.Target)
			return
		}
	}
}

// told is what an act states in words, but for what its note forbids.
func (j *judging) told(a *Act) []lexicon.Token {
	p := j.w.Procedure
	text := strings.ReplaceAll(string(a.Op.Target)+" ; "+a.Op.With, "-", " ")
	if a.Thing != nil {
		text += " ; " + a.Thing.Title
	}
	for _, c := range p.Consumables {
		if c.ID == a.Op.With {
			text += " ; " + c.Title
		}
	}
	for part := range strings.SplitSeq(a.Op.Note+"; "+a.Op.Accept, ";") {
		if !slices.ContainsFunc([]string{"none", "no", "not", "never", "nothing", "off", "without", "keep"}, func(w string) bool { return specdata.HasWord(part, w) }) {
			text += " ; " + part
		}
	}
	return j.w.lex.Tokens(strings.ReplaceAll(text, ":", " ; "))
}

// product judges "with petrol" over acts that are done with brake cleaner.
func (j *judging) product(c *Clause) {
	of := filter(j.scope.Acts, func(a *Act) bool {
		return a.Op.With != "" && (a.Op.Do == specdata.Clean || a.Op.Do == specdata.Apply)
	})
	if len(of) == 0 {
		return
	}
	ts := j.t.Tokens[c.From:c.To]
	for _, m := range j.w.lex.Longest(ts) {
		if m.Concept.Kind != lexicon.Product || !saysWith(ts, m.From) {
			continue
		}
		known := slices.ContainsFunc(of, func(a *Act) bool {
			told := j.told(a)
			return slices.ContainsFunc(told, func(t lexicon.Token) bool { return t.Stem == ts[m.To-1].Stem }) ||
				slices.ContainsFunc(j.w.lex.Matches(told), func(o lexicon.Match) bool { return o.Concept.ID == m.Concept.ID })
		})
		if known || !slices.ContainsFunc(of, func(a *Act) bool { // where nothing that is known stands there, nobody can tell
			return slices.ContainsFunc(j.w.lex.Matches(j.told(a)), func(o lexicon.Match) bool { return o.Concept.Kind == lexicon.Product })
		}) {
			continue
		}
		j.say(Claim{Kind: OfProduct, From: c.From + m.From, To: c.From + m.To}, of, true, "the act is done with %s", strings.ReplaceAll(of[0].Op.With, "-", " "))
		return
	}
}

// saysWith reports whether the words before a product say that something is done with it.
func saysWith(ts []lexicon.Token, at int) bool {
	for i := at - 1; i >= 0 && i >= at-4; i-- {
		switch w := ts[i].Stem; {
		case strings.ContainsAny(ts[i+1].Before, ".;:,()"):
			return false
		case w == "with" || w == "using" || w == "in" || w == "of" || w == "apply" || w == "put":
			return true
		case slices.Contains([]string{"off", "from", "no", "any", "out"}, w):
			return false
		}
	}
	return false
}

// surfaces are what grease must not reach, or has to.
var surfaces = []string{"thread", "stud", "face", "lining", "disk", "pad", "drum", "shoe", "seat", "taper", "cone", "register", "pin", "lip", "spline", "bore", "bolt", "nut", "hub", "friction"}

// appliedTo judges "grease on the stub-axle threads" over an act that greases the register.
func (j *judging) appliedTo(c *Clause) {
	of := filter(j.scope.Acts, func(a *Act) bool { return a.Op.Do == specdata.Apply })
	ts := j.t.Tokens[c.From:c.To]
	product := slices.IndexFunc(j.w.lex.Longest(ts), func(m lexicon.Match) bool { return m.Concept.Kind == lexicon.Product })
	if len(of) == 0 || product < 0 {
		return
	}
	for k := j.w.lex.Longest(ts)[product].To; k < len(ts); k++ {
		w := ts[k].Stem
		if prohibits(ts, k) {
			return
		}
		if w != "on" && w != "onto" && w != "to" && w != "over" {
			continue
		}
		for i := k + 1; i < len(ts) && i < k+9 && joined(ts[i]); i++ {
			last := i+1 == len(ts) || !joined(ts[i+1]) || slices.Contains([]string{"and", "or", "with", "of", "only", "so", "where", "before", "but", "in", "at"}, ts[i+1].Stem)
			if !last || !slices.Contains(surfaces, ts[i].Stem) {
				continue
			}
			if !slices.ContainsFunc(of, func(a *Act) bool { return j.reaches(a, ts[k+1:i+1]) }) && !j.greased(ts[i].Stem) {
				j.say(Claim{Kind: OfProduct, From: c.From + k, To: c.From + i + 1}, of, true, "the act is on the %s", placeOf(of[0]))
				return
			}
			break
		}
		return
	}
}

// reaches reports whether an act is on the surface that a phrase names, or on what the
// surface is a part of: the threads of studs, the lip of a seal.
func (j *judging) reaches(a *Act, phrase []lexicon.Token) bool {
	head := phrase[len(phrase)-1].Stem
	typ, _ := a.Op.Target.Split()
	told := j.told(a)
	has := func(words ...string) bool {
		return slices.ContainsFunc(told, func(t lexicon.Token) bool { return slices.Contains(words, t.Stem) })
	}
	switch head {
	case "thread":
		return typ == "fastener" || has("thread", "stud", "bolt", "nut", "screw", "plug", "pin")
	case "face", "lining", "disk", "drum", "pad", "shoe", "friction":
		return has(head)
	}
	for _, t := range phrase {
		if len(t.Stem) > 3 && !slices.Contains([]string{"each", "both", "this", "that", "them", "these", "their"}, t.Stem) && has(t.Stem) {
			return true
		}
	}
	return has(head)
}

// greased reports whether a fastener in scope has a lubricant on it by its record.
func (j *judging) greased(surface string) bool {
	return slices.ContainsFunc(j.scope.Acts, func(a *Act) bool {
		f := a.Thing != nil && a.Thing.Fastener != nil && a.Thing.Fastener.Surface != nil
		return f && a.Thing.Fastener.Surface.Condition != "dry" && slices.Contains([]string{"thread", "stud", "bolt", "nut", "seat", "cone", "pin", "taper"}, surface)
	})
}

func placeOf(a *Act) string {
	_, id := a.Op.Target.Split()
	return strings.ReplaceAll(id, "-", " ")
}

// prohibits reports whether a word forbids what follows, or keeps it away.
func prohibits(ts []lexicon.Token, i int) bool {
	return slices.Contains([]string{"none", "not", "never", "no", "nothing", "off", "away", "without", "don't"}, ts[i].Stem)
}

// BrakeAndGear reads what some words do with the parking brake ("on", "off") and the gear
// ("in", "neutral"), "" for nothing; at is the word of the brake or of the gear.
func BrakeAndGear(ts []lexicon.Token) (brake, gear string, at int) {
	for i, t := range ts {
		is := func(k int, words ...string) bool { return k >= 0 && k < len(ts) && slices.Contains(words, ts[k].Stem) }
		if t.Stem == "handbrake" || t.Stem == "brake" && is(i-1, "parking", "park", "hand", "emergency") {
			switch {
			case is(i+1, "off", "released", "free") || is(i-2, "release") || is(i-3, "release") || is(i-1, "release"):
				brake, at = "off", i
			case is(i-2, "with") || is(i-1, "with") || is(i-3, "with"): // "not with the handbrake on"
			case is(i+1, "on", "set", "applied", "up"), slices.ContainsFunc(ts[max(0, i-4):i], func(t lexicon.Token) bool {
				return slices.Contains([]string{"set", "apply", "pull", "yank"}, t.Stem)
			}):
				brake, at = "on", i
			}
		}
		if t.Stem == "neutral" {
			gear, at = "neutral", i
		}
		if is(i-1, "in") && (t.Stem == "gear" || t.Stem == "first" && len(ts) < 8) {
			gear, at = "in", i
		}
	}
	return brake, gear, at
}

// brakeAndGear judges "apply the parking brake" over an act that has it off.
func (j *judging) brakeAndGear(c *Clause) {
	brake, gear, at := BrakeAndGear(j.t.Tokens[c.From:c.To])
	if c.IsAct("check", "road-test", "inspect") {
		return
	}
	for _, a := range j.scope.Acts {
		q := Claim{Kind: OfBrake, From: max(c.From, c.From+at-3), To: c.From + at + 1}
		switch {
		case a.Op.Do != specdata.Secure:
		case brake != "" && a.Op.ParkingBrake != "" && brake != a.Op.ParkingBrake:
			j.say(q, []*Act{a}, true, "the act has the parking brake %s", a.Op.ParkingBrake)
		case gear != "" && a.Op.Gear != "" && gear != a.Op.Gear:
			j.say(q, []*Act{a}, true, "the act has the gear %s", map[string]string{"in": "in", "neutral": "in neutral"}[a.Op.Gear])
		}
	}
}

// keeps judges "remove the nut and keep it" over an act that discards it.
func (j *judging) keeps(c *Clause) {
	ts := j.t.Tokens
	at := -1
	for i := c.From; i < c.To; i++ {
		switch w := ts[i].Stem; {
		case w == "keep" || w == "save" || w == "retain" || w == "reuse":
			at = i
		case w == "aside" && at < 0:
			at = i
		case slices.Contains([]string{"until", "compare", "comparison", "pattern", "exchange", "warranty", "customer", "show", "core", "against", "from", "out", "off", "away", "clean", "dry", "level", "still", "apart", "together", "tight", "straight"}, w):
			return
		}
	}
	if at < 0 || c.IsAct("discard") {
		return
	}
	gone := filter(j.scope.Acts, func(a *Act) bool { return a.Op.Do == specdata.Discard && a.Thing != nil })
	names := c.Names
	if len(names) == 0 {
		if names = j.names; !c.It && ts[at].Stem != "reuse" && ts[at].Stem != "aside" {
			return
		}
	}
	if len(names) > 0 {
		gone = filter(gone, func(a *Act) bool { return candidate(names, a.Thing) })
	}
	if len(gone) > 0 {
		j.say(Claim{Kind: OfKeeping, From: at, To: min(at+2, c.To)}, gone, true, "the act discards it: %s", gone[0].Op.Target)
	}
}

// distance judges after how far a recheck is due.
func (j *judging) distance(q Claim) {
	var known []float64
	var of *Act
	for _, a := range j.scope.Acts {
		if a.Thing == nil || a.Thing.Fastener == nil {
			continue
		}
		if v, ok := in(a.Thing.Fastener.Recheck(), q.Unit); ok {
			known, of = append(known, v), a
		}
	}
	if of == nil || !q.rechecks(j.t) || slices.ContainsFunc(known, func(v float64) bool { return same(q.Number, v, q.Unit != "km") }) {
		return
	}
	j.say(q, []*Act{of}, true, "the record has the recheck after %s", specdata.Display(of.Thing.Fastener.Recheck()))
}

// Rechecks reports whether a distance is that of a recheck: "rechecked after 50 km".
func (t *Text) Rechecks(q Claim) bool {
	return q.Kind == OfQuantity && (q.Unit == "km" || q.Unit == "mile") && q.Number != nil && q.rechecks(t)
}

func (q Claim) rechecks(t *Text) bool {
	if q.From >= 2 && slices.Contains([]string{"to", "and", "or"}, t.Tokens[q.From-1].Stem) { // "after fifty to a hundred": its lower end says when it is due
		if k := q.From - 2; isDigit(t.Tokens[k]) || ones[t.Tokens[k].Stem] > 0 || tens[t.Tokens[k].Stem] > 0 || t.Tokens[k].Stem == "hundred" || t.Tokens[k].Stem == "km" || strings.HasPrefix(t.Tokens[k].Stem, "kilomet") {
			return false
		}
	}
	for i := max(0, q.From-14); i < min(len(t.Tokens), q.To+8); i++ {
		switch w := t.Tokens[i].Stem; {
		case strings.HasPrefix(w, "recheck"), strings.HasPrefix(w, "retorque"), strings.HasPrefix(w, "retighten"):
			return true
		case (w == "check" || w == "torque" || w == "tighten" || w == "checked" || w == "torqued" || w == "tightened") && i+1 < len(t.Tokens) && t.Tokens[i+1].Stem == "again":
			return true
		}
	}
	return false
}
