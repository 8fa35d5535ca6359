package claim

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/lexicon"
)

// Contradiction is a claim of which every plausible reading disagrees with the data.
type Contradiction struct {
	Kind Kind
	// Value and Unit are those of the claim.
	Value, Unit string
	// From and To are the tokens of the phrase.
	From, To int
	// Data says what the records have instead.
	Data string
	// Act is an act that the claim is about, nil where it is about a thing alone.
	Act   *Act
	Thing *Thing
	// Hurts says that following the phrase can hurt someone or break something.
	Hurts bool
}

// Scope is what a text is held against.
type Scope struct {
	// Acts are those that the text may be about: a step's, or those of the steps that
	// speech is aligned with.
	Acts []*Act
	// Repeats is the side that a repeating step runs earlier steps on, "" for none.
	Repeats specdata.Side
}

// judging is one text being judged.
type judging struct {
	w     *World
	t     *Text
	scope Scope
	out   []Contradiction
	// names are those of the clauses before, for "it" and "them".
	names []Named
}

// Judge holds a text against the acts it is about.
func (w *World) Judge(t *Text, s Scope) []Contradiction {
	j := &judging{w: w, t: t, scope: s}
	for i := range t.Clauses {
		c := &t.Clauses[i]
		j.clause(c)
		j.written(c)
		if len(c.Names) > 0 {
			j.names = c.Names
		}
	}
	return j.out
}

// JudgeClause holds one clause of a text against the acts it may be about; before are
// the names that "it" and "them" stand for.
func (w *World) JudgeClause(t *Text, clause int, s Scope, before []Named) []Contradiction {
	j := &judging{w: w, t: t, scope: s, names: before}
	j.clause(&t.Clauses[clause])
	return j.out
}

// About lists the acts that a clause can be about; sure says that its verb or its things
// decided.
func (w *World) About(t *Text, clause int, s Scope, before []Named) (as []*Act, sure bool) {
	j := &judging{w: w, t: t, scope: s, names: before}
	return j.about(&t.Clauses[clause])
}

// Mentions reports whether a phrase of a clause names a thing by its own name.
func (c *Clause) Mentions(t *Thing) bool {
	return slices.ContainsFunc(c.Names, func(n Named) bool { return !n.Weak && slices.Contains(n.Candidates, t) })
}

func (j *judging) say(c Claim, about []*Act, hurts bool, format string, args ...any) {
	k := Contradiction{Kind: c.Kind, Value: c.Value, Unit: c.Unit, From: c.From, To: c.To, Data: fmt.Sprintf(format, args...), Hurts: hurts}
	if len(about) > 0 {
		k.Act, k.Thing = about[0], about[0].Thing
	}
	j.out = append(j.out, k)
}

func candidate(names []Named, t *Thing) bool {
	return slices.ContainsFunc(names, func(n Named) bool { return slices.Contains(n.Candidates, t) })
}

func filter(as []*Act, keep func(*Act) bool) []*Act {
	var out []*Act
	for _, a := range as {
		if keep(a) {
			out = append(out, a)
		}
	}
	return out
}

// about lists the acts that a clause can be about: those of its verb on its things, else
// those of its verb, else those on its things; sure says that verb or thing decided.
func (j *judging) about(c *Clause) (as []*Act, sure bool) {
	verbs := c.Verbs()
	ofVerb := filter(j.scope.Acts, func(a *Act) bool { return slices.Contains(verbs, a.Op.Do) })
	if c.tightens() && !c.IsAct("slacken", "remove", "discard", "unclip") {
		ofVerb = filter(j.scope.Acts, tightening)
	}
	if len(c.Names) > 0 {
		if both := filter(ofVerb, func(a *Act) bool { return candidate(c.Names, a.Thing) }); len(both) > 0 {
			return both, true
		}
		if on := filter(j.scope.Acts, func(a *Act) bool { return candidate(c.Names, a.Thing) }); len(on) > 0 {
			return on, true
		}
	}
	if len(ofVerb) > 0 {
		if same := filter(ofVerb, func(a *Act) bool { return candidate(j.names, a.Thing) }); len(same) > 0 {
			return same, true
		}
		return ofVerb, true
	}
	if on := filter(j.scope.Acts, func(a *Act) bool { return candidate(j.names, a.Thing) }); len(on) > 0 {
		return on, true
	}
	return j.scope.Acts, false
}

func tightening(a *Act) bool {
	return a.Op.Do == specdata.Tighten || a.Op.Do == specdata.StageVerb || a.Op.Do == specdata.Turn
}

// tightens reports whether a clause states a torque, which says that something is tightened.
func (c *Clause) tightens() bool {
	return slices.ContainsFunc(c.Claims, func(q Claim) bool { return q.Kind == OfQuantity && slices.Contains(torqueUnits, q.Unit) })
}

func (j *judging) clause(c *Clause) {
	about, _ := j.about(c)
	j.denial(c)
	j.wrongPlaces(c, about)
	j.edges(c)
	for _, q := range c.Claims {
		ref := j.narrow(c, q, about)
		if q.Kind == OfEnd && (c.IsAct("secure") || j.has(c, "chock")) {
			ref = filter(j.scope.Acts, func(a *Act) bool { return a.Op.Do == specdata.Secure })
		}
		if q.Kind == OfCount && q.Value == "them" {
			ref = filter(j.scope.Acts, func(a *Act) bool { return candidate(j.names, a.Thing) })
			if named := filter(about, func(a *Act) bool { return a.Thing != nil && a.Thing.Fastener != nil }); len(ref) == 0 {
				ref = named
			}
		}
		if q.Kind == OfPattern || q.Kind == OfSize || q.Kind == OfSurface {
			ref = j.ofFasteners(ref)
		}
		switch q.Kind {
		case OfSide:
			j.side(q, ref)
		case OfEnd:
			j.end(c, q, ref)
		case OfCount:
			j.count(c, q, ref)
		case OfTurning:
			j.turning(c, q, ref)
		case OfHand:
			j.hand(q, ref)
		case OfFacing:
			j.facing(q, ref)
		case OfPattern:
			j.pattern(c, q, ref)
		case OfQuantity:
			j.quantity(c, q, ref)
		case OfTimes:
			j.times(q, ref)
		case OfManner, OfTool:
			j.manner(c, q, ref)
		case OfNewness:
			j.newness(c, q, ref)
		case OfState:
			j.state(c, q, ref)
		case OfSize:
			j.size(q, ref)
		case OfSurface:
			j.surface(c, q, ref)
		}
	}
}

// ofFasteners returns the acts on fasteners among some; where there are none, those on what
// was named before, or all in scope.
func (j *judging) ofFasteners(as []*Act) []*Act {
	ofFastener := func(a *Act) bool { return a.Thing != nil && a.Thing.Fastener != nil }
	for _, try := range [][]*Act{as, filter(j.scope.Acts, func(a *Act) bool { return candidate(j.names, a.Thing) }), j.scope.Acts} {
		if found := filter(try, ofFastener); len(found) > 0 {
			return found
		}
	}
	return as
}

// narrow returns the acts that one claim is about: those on the thing that stands next to
// it, where it is right before or behind one.
func (j *judging) narrow(c *Clause, q Claim, about []*Act) []*Act {
	best, distance := -1, 4
	for i, n := range c.Names {
		d := n.From - q.To
		if d < 0 {
			d = q.From - n.To + 1
		}
		if d >= 0 && d < distance {
			best, distance = i, d
		}
	}
	if best < 0 {
		return about
	}
	if on := filter(about, func(a *Act) bool { return slices.Contains(c.Names[best].Candidates, a.Thing) }); len(on) > 0 {
		return on
	}
	if on := filter(j.scope.Acts, func(a *Act) bool { return slices.Contains(c.Names[best].Candidates, a.Thing) }); len(on) > 0 {
		return on
	}
	return about
}

// exempt are the words that make a denial forbid something else than the act: "do not
// tighten yet", "never more than half a turn".
var exempt = []string{"yet", "fully", "until", "till", "more", "beyond", "too", "unless", "further", "now", "completely", "still", "past", "finally", "any", "bend", "let", "only"}

// denial judges "do not tighten the bolts" against an act that tightens them.
func (j *judging) denial(c *Clause) {
	if !c.Denied || len(c.Acts) == 0 {
		return
	}
	at := -1
	for i := c.From; i < c.To; i++ {
		w := j.t.Tokens[i].Stem
		if slices.Contains([]string{"not", "don't", "never", "doesn't", "mustn't"}, w) && at < 0 {
			at = i
		}
		if at >= 0 && slices.Contains(exempt, w) {
			return
		}
	}
	if at < 0 {
		return
	}
	for _, q := range c.Claims { // "never with a power tool" forbids the tool
		if (q.Value == "impact-wrench" || q.Value == "power-tool" || q.Value == "hand") && q.From > at && !j.attested(q) {
			return
		}
	}
	// The verb stands right behind the denial.
	as := acts(j.t.Tokens[at+1 : min(at+3, c.To)])
	if len(as) == 0 {
		return
	}
	var verbs []specdata.Verb
	for _, a := range as[0] {
		if vs := does[a.class]; len(vs) > 0 {
			verbs = append(verbs, vs[0])
			if a.class == "tighten" || a.class == "turn" || a.class == "remove" || a.class == "fit" || a.class == "check" || a.class == "inspect" {
				verbs = append(verbs, vs...)
			}
			if a.class == "slacken" {
				verbs = append(verbs, specdata.Remove)
			}
		}
	}
	ofVerb := filter(j.scope.Acts, func(a *Act) bool { return slices.Contains(verbs, a.Op.Do) })
	done := filter(ofVerb, func(a *Act) bool { return len(c.Names) == 0 || candidate(c.Names, a.Thing) })
	if len(done) == 0 {
		done = filter(ofVerb, func(a *Act) bool { return a.Thing != nil && j.shares(c, a.Thing) })
	}
	if len(done) == 0 { // "chock the wheels" is of the vehicle
		done = filter(ofVerb, func(a *Act) bool {
			return a.Thing == nil || a.Thing.Fastener == nil && !strings.HasPrefix(string(a.Op.Target), "part:")
		})
	}
	if len(done) > 0 {
		j.say(Claim{Kind: OfAct, From: at, To: min(at+2, c.To)}, done, true, "the step does it: %s %s", done[0].Op.Do, done[0].Op.Target)
	}
}

// attested reports whether an act in scope has the tool or manner of a claim.
func (j *judging) attested(q Claim) bool {
	return q.Value == "hand" && slices.ContainsFunc(j.scope.Acts, func(a *Act) bool {
		return a.Op.Do == specdata.Start || a.Op.Do == specdata.Snug || specdata.HasWord(a.Op.Note, "hand")
	})
}

// shares reports whether a clause has a word of a thing's title.
func (j *judging) shares(c *Clause, t *Thing) bool {
	for _, x := range j.w.canon(j.t.Tokens[c.From:c.To]) {
		if slices.Contains(t.words, x.word) {
			return true
		}
	}
	return false
}

// wrongPlaces judges "rear bush bolt" where there is only a front one.
func (j *judging) wrongPlaces(c *Clause, about []*Act) {
	if c.IsAct("secure") || j.has(c, "chock") {
		j.chocks(c)
	}
	for _, n := range c.Names {
		inScope := slices.ContainsFunc(j.scope.Acts, func(a *Act) bool { return slices.Contains(n.Candidates, a.Thing) })
		for _, p := range n.Wrong {
			if !inScope { // another thing of the vehicle, which this procedure does not know
				continue
			}
			j.say(Claim{Kind: OfPlace, From: p.from, To: p.to}, about, true, "it is the %s", specdata.InSentence(n.Candidates[0].Title))
		}
		for _, p := range n.Places {
			if j.sayPlace(n, p) {
				continue
			}
			on := filter(j.scope.Acts, func(a *Act) bool { return slices.Contains(n.Candidates, a.Thing) })
			if len(on) == 0 {
				on = about
			}
			q := Claim{Kind: OfPlace, Value: p.word, From: p.from, To: p.to}
			switch p.word {
			default:
				if of := filter(on, func(a *Act) bool { return a.Thing != nil && slices.Contains(a.Thing.words, places[p.word]) }); len(of) > 0 &&
					!slices.ContainsFunc(j.scope.Acts, func(a *Act) bool { return a.Thing != nil && slices.Contains(a.Thing.words, p.word) }) {
					j.say(q, of, true, "it is the %s", specdata.InSentence(of[0].Thing.Title))
				}
			case "left", "right":
				q.Kind = OfSide
				j.side(q, on)
			case "front", "rear":
				q.Kind = OfEnd
				if j.has(c, "chock") {
					on = filter(j.scope.Acts, func(a *Act) bool { return a.Op.Do == specdata.Secure })
				}
				j.end(c, q, on)
			}
		}
	}
}

// has reports whether a clause has a word.
func (j *judging) has(c *Clause, word string) bool {
	return slices.ContainsFunc(j.t.Tokens[c.From:c.To], func(t lexicon.Token) bool { return t.Stem == word })
}

// chocks judges at which end the wheels are chocked, though a title has the end's name.
func (j *judging) chocks(c *Clause) {
	about := filter(j.scope.Acts, func(a *Act) bool { return a.Op.Do == specdata.Secure })
	for _, n := range c.Names {
		for i := n.From; i < n.To; i++ {
			w := j.t.Tokens[i].Stem
			if (w == "front" || w == "rear") && len(about) > 0 && !slices.ContainsFunc(n.Places, func(p cword) bool { return p.from == i }) {
				j.end(c, Claim{Kind: OfEnd, Value: w, From: i, To: i + 1}, about)
			}
		}
	}
}

// edges judges "the upper edge" where the acts say "the lower edge".
func (j *judging) edges(c *Clause) {
	data := ""
	for _, a := range j.scope.Acts {
		data += " " + a.Op.Note + " ; " + a.Op.Accept + " ;"
	}
	said := " "
	for _, t := range j.w.lex.Tokens(data) {
		said += t.Stem + " "
	}
	for i := c.From; i+1 < c.To; i++ {
		p, ok := place(j.t.Tokens[i].Stem)
		if !ok || !joined(j.t.Tokens[i+1]) || p == "left" || p == "right" {
			continue
		}
		noun := " " + j.t.Tokens[i+1].Stem + " "
		if strings.Contains(said, " "+places[p]+noun) && !strings.Contains(said, " "+p+noun) {
			j.say(Claim{Kind: OfPlace, From: i, To: i + 2}, j.scope.Acts, true, "the act says %s%s", places[p], strings.TrimRight(noun, " "))
		}
	}
}

// sayPlace reports whether a claim of the same phrase stands already.
func (j *judging) sayPlace(n Named, p cword) bool {
	return slices.ContainsFunc(j.t.Clauses, func(c Clause) bool {
		return slices.ContainsFunc(c.Claims, func(q Claim) bool {
			return q.From <= p.from && p.from < q.To && (q.Kind == OfSide || q.Kind == OfEnd || q.Kind == OfFacing || q.Kind == OfHand || q.Kind == OfTurning)
		})
	})
}

func (j *judging) side(q Claim, about []*Act) {
	if q.Value == "both" {
		return
	}
	sides := map[string]bool{}
	if j.scope.Repeats != "" {
		sides[string(j.scope.Repeats)] = true
	}
	for _, a := range about {
		sides[string(a.Side)] = true
		for _, s := range []string{"left", "right"} {
			if a.Thing != nil && slices.Contains(a.Thing.words, s) || specdata.HasWord(a.Op.Note, s) || specdata.HasWord(a.Op.Accept, s) {
				sides[s] = true
			}
		}
	}
	other := places[q.Value]
	switch {
	case sides[q.Value]:
	case sides[other]:
		j.say(q, about, true, "it is done on the %s", other)
	case len(about) > 0 && j.w.Procedure.Sides == "one" && j.w.side == "" && slices.ContainsFunc(about, func(a *Act) bool { return a.Thing != nil && a.Thing.Fastener != nil }):
		j.say(q, about, true, "the reader picks the side of this procedure")
	}
}

// end judges front and rear.
func (j *judging) end(c *Clause, q Claim, about []*Act) {
	ends := map[string]bool{}
	for _, a := range about {
		typ, id := a.Op.Target.Split()
		text := a.Op.Note + " " + a.Op.Accept
		switch {
		case typ == "end" || typ == "suspension":
			ends[id] = true
		case a.Op.Do == specdata.Secure && j.w.raised != "":
			ends[places[j.w.raised]] = true
		case a.Thing != nil && a.Thing.End != "":
			ends[a.Thing.End] = true
		}
		for e := range map[string]bool{"front": true, "rear": true} {
			if specdata.HasWord(text, e) || a.Thing != nil && slices.Contains(a.Thing.words, e) {
				ends[e] = true
			}
		}
	}
	if len(ends) == 1 && !ends[q.Value] {
		j.say(q, about, true, "it is at the %s", places[q.Value])
	}
}

// count judges "two carrier bolts", "both", "all ten".
func (j *judging) count(c *Clause, q Claim, about []*Act) {
	want := map[int]bool{}
	bare := false
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil {
			continue
		}
		n := a.Thing.Fastener.Count
		want[n] = true
		if len(a.Op.Positions) > 0 {
			want[len(a.Op.Positions)] = true
		}
		if j.w.Procedure.Sides == "both" || a.Side == "" && j.w.Procedure.Sides != "one" {
			want[2*n] = true
		}
		for _, p := range j.w.Procedure.Parts {
			if specdata.Target("fastener:"+p.Fastener) == a.Op.Target {
				want[p.Quantity] = true
			}
		}
	}
	if things := distinct(about); len(want) == 0 || q.Value == "both" && len(things) > 1 {
		return
	}
	for n := range want {
		if q.Number.Is(float64(n)) {
			return
		}
		bare = true
	}
	if f := about[slices.IndexFunc(about, func(a *Act) bool { return a.Thing != nil && a.Thing.Fastener != nil })]; bare {
		j.say(q, []*Act{f}, f.Thing.Fastener.Safety != "" || f.Thing.Fastener.Count > 2, "the record has %d", f.Thing.Fastener.Count)
	}
}

func distinct(as []*Act) []*Thing {
	var out []*Thing
	for _, a := range as {
		if a.Thing != nil && a.Thing.Fastener != nil && !slices.Contains(out, a.Thing) {
			out = append(out, a.Thing)
		}
	}
	return out
}

// turning judges clockwise and anticlockwise by the hand of the thread and the verb.
func (j *judging) turning(c *Clause, q Claim, about []*Act) {
	var hands []string
	loosens := c.IsAct("slacken", "remove")
	tightens := c.IsAct("tighten", "start", "snug")
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Thread == nil {
			continue
		}
		hands = append(hands, a.Thing.Fastener.Thread.Hand)
		if loosens == tightens {
			loosens = loosens || a.Op.Do == specdata.Slacken || a.Op.Do == specdata.Remove
			tightens = tightens || a.Op.Do == specdata.Tighten || a.Op.Do == specdata.StageVerb || a.Op.Do == specdata.Start
		}
	}
	if len(hands) == 0 || loosens == tightens {
		return
	}
	clockwise := q.Value == "clockwise"
	for _, h := range hands {
		if (h == "right") == (tightens == clockwise) {
			return
		}
	}
	way := "anticlockwise"
	if !clockwise {
		way = "clockwise"
	}
	j.say(q, about, true, "a %s-hand thread turns %s there", hands[0], way)
}

func (j *judging) hand(q Claim, about []*Act) {
	var hand string
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Thread == nil {
			continue
		}
		if hand = a.Thing.Fastener.Thread.Hand; hand == q.Value {
			return
		}
	}
	if hand != "" && !q.Denied {
		j.say(q, about, true, "the record has a %s-hand thread", hand)
	}
}

var against = map[string]string{
	"outwards": "inwards", "inwards": "outwards", "upwards": "downwards", "downwards": "upwards",
	"towards": "away", "away": "towards", "forwards": "backwards", "backwards": "forwards",
}

// facing judges which way a thing points, by the fitting of its record and the notes of
// its acts.
func (j *judging) facing(q Claim, about []*Act) {
	opposite := against[q.Value]
	if opposite == "" {
		return
	}
	said, against := false, ""
	for _, as := range [][]*Act{about, j.scope.Acts} {
		for _, a := range as {
			text := a.Op.Note
			if a.Thing != nil && a.Thing.Fastener != nil && a.Thing.Fastener.Fitting != nil {
				f := a.Thing.Fastener.Fitting
				text += "; " + f.Direction + "; " + f.Washers + "; " + f.Spacer
			}
			ts := j.w.lex.Tokens(text)
			for _, k := range j.w.claims(ts, nil) {
				said = said || k.Kind == OfFacing && k.Value == q.Value
				if k.Kind == OfFacing && k.Value == opposite {
					against = strings.Trim(text, "; ")
				}
			}
			for i, t := range ts {
				if i+1 < len(ts) && (q.Value == "outwards" || q.Value == "inwards") && (t.Stem == "towards" || t.Stem == "away") { // towards the wheel is inwards
					way := map[string]string{"towards": "inwards", "away": "outwards"}[t.Stem]
					if slices.ContainsFunc(ts[i+1:min(len(ts), i+4)], func(t lexicon.Token) bool {
						return t.Stem == "wheel" || t.Stem == "hubb" || t.Stem == "hub" || t.Stem == "disk"
					}) {
						said = said || way == q.Value
						if way == opposite {
							against = strings.Trim(text, "; ")
						}
					}
				}
				if t.Stem == "outside" && opposite == "outwards" || t.Stem == "inside" && opposite == "inwards" || t.Stem == "upside" && opposite == "upwards" || t.Stem == "up" && opposite == "upwards" {
					against = strings.Trim(text, "; ")
				}
			}
		}
		if said {
			return
		}
		if against != "" {
			j.say(q, as, true, "the record says %s", against)
			return
		}
	}
}
