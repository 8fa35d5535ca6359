package narration

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
	"proofload/specdata/wording"
)

// Finding is something said that is not what the procedure does, or something not said.
type Finding struct {
	// Kind names the sort of slip: number, unit, count, side, left-out and so on.
	Kind     string
	Severity specdata.Severity
	// Start and End are seconds from the beginning of the transcript.
	Start, End float64
	// Line is the line of the file where it was said.
	Line int
	// Said are the words, "" for what was left out.
	Said string
	// Record and Step are what it is about; Step is the id of a step of the procedure.
	Record  specdata.Name
	Step    string
	Message string
}

// Checked is a transcript held against a procedure.
type Checked struct {
	Findings []Finding
	// Steps are the ids of the steps in the order in which speech reached them, with times.
	Steps []Said
	// Values are the torques and angles said, with the fastener and the time.
	Values []Value
}

// Said is a step and when it was said.
type Said struct {
	Step, Title string
	Start, End  float64
}

// Value is a value said of a fastener.
type Value struct {
	Fastener   specdata.Name
	Stage      int
	Start, End float64
	Said       string
}

// judge holds one transcript against one procedure.
type judge struct {
	w    *claim.World
	lex  *lexicon.Lexicon
	rows []row
	hs   []*heard
	out  Checked
	// said holds the stages of each fastener whose value was said.
	said map[specdata.Target]map[int]bool
	// marked is where a value of each fastener was said last.
	marked map[specdata.Target]place
	// flagged are fasteners of which a wrong value was said.
	flagged map[specdata.Target]bool
	words   map[string]bool
}

// Check holds the cues of a transcript against a procedure. side is the side that is
// worked on where the procedure leaves it open; "" takes the first that is said. The
// error is that of a context that is done.
func Check(ctx context.Context, p *specdata.Procedure, l library.Library, lex *lexicon.Lexicon, side specdata.Side, cues []Cue) (*Checked, error) {
	j, err := listen(ctx, p, l, lex, side, cues)
	if err != nil {
		return nil, err
	}
	j.leftOut()
	j.lateCautions()
	slices.SortStableFunc(j.out.Findings, func(a, b Finding) int { return cmp.Compare(a.Start, b.Start) })
	return &j.out, nil
}

// listen aligns the cues with the procedure and judges clause by clause.
func listen(ctx context.Context, p *specdata.Procedure, l library.Library, lex *lexicon.Lexicon, side specdata.Side, spoken []Cue) (*judge, error) {
	p = claim.Complete(p, l)
	cues := parts(lex, spoken)
	if side == "" && p.Sides == "one" {
		side = firstSide(lex, cues)
	}
	j := &judge{w: claim.New(p, l, lex, side), lex: lex, said: map[specdata.Target]map[int]bool{}, marked: map[specdata.Target]place{}, flagged: map[specdata.Target]bool{}, words: map[string]bool{}}
	j.rows = rowsOf(j.w)
	if j.hs = hear(ctx, j.w, lex, cues); ctx.Err() != nil {
		return nil, ctx.Err()
	}
	align(j.w, j.hs, j.rows)
	var before []claim.Named
	for _, h := range j.hs {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		for i := h.c().From; i < h.c().To; i++ {
			j.words[h.text.Tokens[i].Stem] = true
		}
		j.clause(h, before)
		if len(h.c().Names) > 0 {
			before = h.c().Names
		}
		if h.row >= 0 {
			j.reached(h)
		}
	}
	return j, nil
}

// Of returns a procedure without the steps that are not for a variant: those of options
// that are known and have other values.
func Of(p *specdata.Procedure, options map[string]string) *specdata.Procedure {
	out := *p
	out.Steps = slices.DeleteFunc(slices.Clone(p.Steps), func(s specdata.Step) bool {
		for key, values := range s.Where {
			if v, known := options[key]; known && !slices.Contains(values, v) {
				return true
			}
		}
		return false
	})
	return &out
}

// firstSide is the side that the speaker says first.
func firstSide(lex *lexicon.Lexicon, cues []part) specdata.Side {
	for _, c := range cues {
		ts := lex.Tokens(c.Text)
		for _, m := range lex.Longest(ts) {
			if id := m.Concept.ID; (id == "left" || id == "right") && m.Concept.Kind == lexicon.Direction {
				return specdata.Side(id)
			}
		}
	}
	return ""
}

// reached notes when a step was said.
func (j *judge) reached(h *heard) {
	s := &j.w.Procedure.Steps[j.rows[h.row].step]
	if n := len(j.out.Steps); n > 0 && j.out.Steps[n-1].Step == s.ID {
		j.out.Steps[n-1].End = max(j.out.Steps[n-1].End, h.end)
		return
	}
	j.out.Steps = append(j.out.Steps, Said{s.ID, strings.ReplaceAll(s.ID, "-", " "), h.start, h.end})
}

// scope lists the acts that a clause may be about: of the things it names those near the
// place where the job is, else any; without a name those of the step and its neighbours.
func (j *judge) scope(h *heard, before []claim.Named) []*claim.Act {
	window := func(around int) []*claim.Act {
		var as []*claim.Act
		for i := max(0, h.at-around); i <= min(len(j.rows)-1, h.at+around); i++ {
			as = append(as, j.rows[i].acts...)
		}
		return as
	}
	names := h.c().Names
	surfaces := slices.ContainsFunc(h.c().Claims, func(q claim.Claim) bool { return q.Kind == claim.OfSurface })
	if slices.ContainsFunc(h.text.Tokens[h.c().From:h.c().To], func(t lexicon.Token) bool { return t.Stem == "chock" }) {
		return append(slices.DeleteFunc(slices.Clone(j.w.Acts), func(a *claim.Act) bool { return a.Op.Do != specdata.Secure }), window(0)...)
	}
	if len(names) == 0 && len(h.c().Acts) > 0 && h.row < 0 && !surfaces {
		verbs := h.c().Verbs()
		does := func(as []*claim.Act) bool {
			return slices.ContainsFunc(as, func(a *claim.Act) bool { return slices.Contains(verbs, a.Op.Do) })
		}
		if next := window(1); !does(window(0)) && does(next) {
			return next
		}
	}
	if len(names) == 0 && h.row < 0 && slices.ContainsFunc(h.c().Claims, func(q claim.Claim) bool { return q.Kind == claim.OfTool && q.Value == "impact-wrench" }) {
		return slices.DeleteFunc(window(1), func(a *claim.Act) bool { return a.Thing == nil || a.Thing.Fastener == nil })
	}
	if len(names) == 0 && slices.ContainsFunc(h.c().Claims, func(q claim.Claim) bool { return q.Kind == claim.OfTimes && q.Unit == "round" }) {
		return window(1)
	}
	if len(names) == 0 {
		if w := window(0); len(tightened(w)) > 0 || !surfaces {
			return w
		}
		return window(2)
	}
	on := func(as []*claim.Act) []*claim.Act {
		return slices.DeleteFunc(slices.Clone(as), func(a *claim.Act) bool {
			return !slices.ContainsFunc(names, func(n claim.Named) bool { return slices.Contains(n.Candidates, a.Thing) })
		})
	}
	if slices.ContainsFunc(h.c().Claims, claim.IsTorque) { // said early or late, it is of the tightening
		if found := tightened(on(j.w.Acts)); len(found) > 0 {
			return found
		}
	}
	for _, as := range [][]*claim.Act{window(0), window(2), j.w.Acts} {
		if found := on(as); len(found) > 0 {
			if len(window(0)) > 0 && as[0] == window(0)[0] {
				return window(0)
			}
			return found
		}
	}
	return window(0)
}

// clause judges one clause and notes the values it states.
func (j *judge) clause(h *heard, before []claim.Named) {
	if ofOthers(h) {
		return
	}
	scope := claim.Scope{Acts: j.scope(h, before)}
	about, _ := j.w.About(h.text, h.clause, scope, before)
	j.values(h, scope, before)
	for _, k := range j.w.JudgeClause(h.text, h.clause, scope, before) {
		if j.excused(h, k, before) {
			continue
		}
		j.say(h, string(k.Kind), severity(k), k.Act, "says \"%s\" and %s", strings.Join(strings.Fields(h.text.Said(k.From, k.To)), " "), k.Data)
	}
	j.against(h, before)
	j.soft(h, about)
}

func severity(k claim.Contradiction) specdata.Severity {
	if k.Hurts {
		return specdata.Error
	}
	return specdata.Warning
}

// excused reports whether a contradiction of speech is none: speech looks ahead and back,
// mentions the other side, and counts what it sees.
func (j *judge) excused(h *heard, k claim.Contradiction, before []claim.Named) bool {
	c := h.c()
	switch k.Kind {
	case claim.OfSize: // the key of a neighbour's act
		wide := claim.Scope{Acts: append(j.near(h, 1), j.scope(h, before)...)}
		return !slices.ContainsFunc(j.w.JudgeClause(h.text, h.clause, wide, before), func(o claim.Contradiction) bool { return o.Kind == claim.OfSize && o.From == k.From })
	case claim.OfQuantity:
		// values has judged torques and the angles of tightenings, with the neighbours
		turned := k.Unit == "turn" && (c.IsAct("slacken") || k.Act != nil && len(tightened([]*claim.Act{k.Act})) == 0)
		return k.Unit == "mm" || !turned || c.Later || c.Past // limits has judged what is measured
	case claim.OfAct:
		return c.Unless || c.Later || h.row < 0 || j.isCaution(h)
	case claim.OfTimes:
		return c.Unless && k.Unit != "round" || c.Later || h.row < 0 && (k.Unit != "round" || k.Act == nil)
	case claim.OfSide:
		said := ""
		if s := h.text.Tokens[k.From].Stem; s == "left" || s == "right" {
			said = s
		}
		return said == "" || slices.ContainsFunc(j.w.Acts, func(a *claim.Act) bool { return string(a.Side) == said }) || len(c.Names) == 0 && len(c.Acts) == 0
	case claim.OfNewness:
		return c.Later || c.Past || k.Value == "old" && !c.IsAct("fit", "start", "tighten", "snug") && (len(c.Names) == 0 || showsBefore(h, k.From) || goesOff(h))
	case claim.OfManner: // "by hand" closes the starting that was said before it
		return c.Later || c.Past || k.Value == "hand" && (!c.IsAct("tighten") || k.From == c.From)
	case claim.OfState, claim.OfSurface:
		return c.Later || c.Past
	case claim.OfPlace:
		return h.row < 0 && len(c.Acts) == 0
	case claim.OfEnd: // a video of one end speaks of the other in passing
		return !c.IsAct("secure", "raise", "lower", "support") && !slices.ContainsFunc(h.text.Tokens[c.From:c.To], func(t lexicon.Token) bool { return t.Stem == "chock" })
	case claim.OfCount:
		all := k.From > 0 && h.text.Tokens[k.From-1].Stem == "all" && c.IsAct("start", "tighten", "remove", "slacken", "turn", "snug")
		return k.Act == nil || !c.Mentions(k.Act.Thing) && h.row < 0 && !all
	}
	return false
}

func (j *judge) say(h *heard, kind string, s specdata.Severity, a *claim.Act, format string, args ...any) {
	f := Finding{Kind: kind, Severity: s, Start: h.start, End: h.end, Line: h.line, Said: h.words(), Record: j.w.Procedure.Name(), Message: fmt.Sprintf(format, args...)}
	if a != nil {
		f.Step = j.w.Procedure.Steps[a.Step].ID
		if a.Thing != nil && a.Thing.Fastener != nil {
			f.Record = a.Thing.Fastener.Name()
			f.Message += "; it is the " + specdata.InSentence(a.Thing.Title)
		}
	} else if h.row >= 0 {
		f.Step = j.w.Procedure.Steps[j.rows[h.row].step].ID
	}
	j.out.Findings = append(j.out.Findings, f)
}

func tightened(as []*claim.Act) []*claim.Act {
	var out []*claim.Act
	for _, a := range as {
		if a.Thing != nil && a.Thing.Fastener != nil && (a.Op.Do == specdata.Tighten || a.Op.Do == specdata.StageVerb || a.Op.Do == specdata.Turn) {
			out = append(out, a)
		}
	}
	return out
}

// values judges the torques and angles of a clause and notes what was said.
func (j *judge) values(h *heard, scope claim.Scope, before []claim.Named) {
	c := h.c()
	for _, q := range c.Claims {
		bare := q.Kind == claim.OfQuantity && q.Unit == "" && q.Number.Readings[0] >= 3
		angle := q.Kind == claim.OfQuantity && (q.Unit == "deg" || q.Unit == "turn")
		if !claim.IsTorque(q) && !bare && !angle {
			continue
		}
		about := j.meant(h, before)
		if matched := j.note(h, q, about); matched || angle && !j.anglesOf(about, q) {
			continue
		}
		if bare && !j.bareTorque(h, q) {
			continue
		}
		if j.note(h, q, j.alike(h, about)) { // another stage of the same
			continue
		}
		if !j.namesFastener(c) || bare { // a value without a name may be of a neighbour
			if j.note(h, q, j.near(h, 2)) {
				continue
			}
		}
		if angle && c.IsAct("slacken", "remove") || len(about) == 0 {
			continue
		}
		if j.firstRound(h, q, about) {
			continue
		}
		a := about[0]
		j.flagged[a.Op.Target] = true
		other := q
		switch {
		case q.Unit == "lbf.ft" && func() bool { other.Unit = "N.m"; return len(claim.Stages(a.Thing.Fastener, other, 0)) > 0 }(),
			q.Unit == "N.m" && func() bool { other.Unit = "lbf.ft"; return len(claim.Stages(a.Thing.Fastener, other, 0)) > 0 }():
			j.say(h, "unit", specdata.Error, a, "says \"%s\", and that number is in %s", h.text.Said(q.From, q.To), map[string]string{"N.m": "N·m", "lbf.ft": "lbf·ft"}[other.Unit])
		case angle:
			j.say(h, "angle", specdata.Error, a, "says \"%s\" and the record has %s", h.text.Said(q.From, q.To), wording.Tightening(a.Thing.Fastener.Tightening))
		default:
			j.say(h, "number", specdata.Error, a, "says \"%s\" and the record has %s", h.text.Said(q.From, q.To), wording.Tightening(a.Thing.Fastener.Tightening))
		}
	}
}

// firstRound reports whether a value is that of a first round at half, of fasteners that
// are tightened in several.
func (j *judge) firstRound(h *heard, q claim.Claim, about []*claim.Act) bool {
	if !slices.ContainsFunc(h.tokens(), func(t token) bool { return t.Stem == "first" || t.Stem == "half" }) {
		return false
	}
	return slices.ContainsFunc(about, func(a *claim.Act) bool {
		t := a.Thing.Fastener.Tightening
		if t == nil || t.Pattern == nil || t.Pattern.Passes < 2 {
			return false
		}
		v, ok := claim.In(t.Stages[len(t.Stages)-1].Torque, q.Unit)
		return ok && q.Number.Is(v/2)
	})
}

// alike lists the tightenings of the things of some acts in the rows around.
func (j *judge) alike(h *heard, about []*claim.Act) []*claim.Act {
	return slices.DeleteFunc(j.near(h, 3), func(a *claim.Act) bool {
		return !slices.ContainsFunc(about, func(b *claim.Act) bool { return a.Op.Target == b.Op.Target })
	})
}

// namesFastener reports whether a clause names something that is tightened.
func (j *judge) namesFastener(c *claim.Clause) bool {
	return slices.ContainsFunc(tightened(j.w.Acts), func(a *claim.Act) bool { return c.Mentions(a.Thing) })
}

// anglesOf reports whether acts have an angle to compare with.
func (j *judge) anglesOf(as []*claim.Act, q claim.Claim) bool {
	for _, a := range as {
		for i := range a.Thing.Fastener.Tightening.Stages {
			if !a.Thing.Fastener.Tightening.Stages[i].Angle.IsZero() {
				return true
			}
		}
	}
	return false
}

// bareTorque reports whether a number without a unit is plainly a torque: "torque the
// nuts to one-forty".
func (j *judge) bareTorque(h *heard, q claim.Claim) bool {
	c := h.c()
	if j.onFastener(h, q) {
		return true
	}
	if q.From == 0 || len(c.Names) == 0 || !c.IsAct("tighten") {
		return false
	}
	before := h.text.Tokens[q.From-1].Stem
	behind := ""
	if q.To < len(h.text.Tokens) && h.text.Tokens[q.To].Before == "" {
		behind = h.text.Tokens[q.To].Stem
	}
	return (before == "to" || before == "at") && (behind == "" || behind == "in" || behind == "on" || behind == "with" || behind == "and")
}

// onFastener reports whether a number without a unit is said of a fastener that is
// tightened here: "twenty-eight on the guide pins", "right wheel nuts, star, one-sixty".
// A number that is the size of a socket is none.
func (j *judge) onFastener(h *heard, q claim.Claim) bool {
	c, ts := h.c(), h.text.Tokens
	v := q.Number.Readings[0]
	if v < 10 || v > 600 || len(c.Acts) > 0 && !c.IsAct("tighten") {
		return false
	}
	named := func(n claim.Named) bool {
		return !n.Weak && slices.ContainsFunc(tightened(j.near(h, 1)), func(a *claim.Act) bool { return slices.Contains(n.Candidates, a.Thing) })
	}
	wide := claim.Claim{Kind: claim.OfSize, Unit: "mm", Number: q.Number, From: q.From, To: q.To}
	if j.w.IsSize(wide, j.near(h, 2)) {
		return false
	}
	for _, n := range c.Names {
		anywhere := !n.Weak && slices.ContainsFunc(tightened(j.w.Acts), func(a *claim.Act) bool { return slices.Contains(n.Candidates, a.Thing) })
		if d := n.From - q.To; anywhere && d >= 1 && d <= 2 && (ts[q.To].Stem == "on" || ts[q.To].Stem == "for") {
			return true
		}
		if !named(n) {
			continue
		}
		last := q.To == c.To || strings.ContainsAny(ts[q.To].Before, ".;!")
		if n.To <= q.From && last && len(c.Acts) == 0 && v >= 20 {
			return true
		}
	}
	return false
}

// meant lists the tightenings that a value is said of: of the things that the clause
// names, of those named before, or of the step.
func (j *judge) meant(h *heard, before []claim.Named) []*claim.Act {
	by := func(names []claim.Named, as []*claim.Act) []*claim.Act {
		var out []*claim.Act
		for _, a := range tightened(as) {
			if slices.ContainsFunc(names, func(n claim.Named) bool { return slices.Contains(n.Candidates, a.Thing) }) {
				out = append(out, a)
			}
		}
		return out
	}
	for _, names := range [][]claim.Named{h.c().Names, before} {
		if len(names) == 0 {
			continue
		}
		for _, as := range [][]*claim.Act{j.near(h, 0), j.near(h, 2), j.w.Acts} {
			if found := by(names, as); len(found) > 0 {
				return found
			}
		}
	}
	return tightened(j.near(h, 0))
}

func (j *judge) near(h *heard, around int) []*claim.Act {
	var as []*claim.Act
	for i := max(0, h.at-around); i <= min(len(j.rows)-1, h.at+around); i++ {
		as = append(as, j.rows[i].acts...)
	}
	return as
}

// note notes a value that is one of some acts', and reports whether it is.
func (j *judge) note(h *heard, q claim.Claim, as []*claim.Act) bool {
	matched := false
	as = j.one(h, q, tightened(as))
	for _, a := range as {
		only := 0
		if a.Op.Do == specdata.StageVerb || a.Op.Do == specdata.Turn {
			only = a.Op.Stage
		}
		for _, stage := range claim.Stages(a.Thing.Fastener, q, only) {
			if !matched {
				j.out.Values = append(j.out.Values, Value{a.Thing.Fastener.Name(), stage, h.start, h.end, h.text.Said(q.From, q.To)})
			}
			matched = true
			j.mark(h, a, q, stage)
		}
	}
	return matched
}

// one returns the tightenings of the one thing that a value is said of, where several
// have that value: the one of the step, else the first that was not said yet; all where
// the clause mentions all.
func (j *judge) one(h *heard, q claim.Claim, as []*claim.Act) []*claim.Act {
	for _, t := range h.tokens() {
		if slices.Contains([]string{"both", "all", "each", "every", "everything", "same"}, t.Stem) {
			return as
		}
	}
	has := slices.DeleteFunc(slices.Clone(as), func(a *claim.Act) bool { return !claim.HasValue(a, q) })
	if len(has) < 2 {
		return as
	}
	pick := has[0].Thing
	for _, a := range has {
		if j.said[a.Op.Target] == nil {
			pick = a.Thing
			break
		}
	}
	if h.row >= 0 {
		for _, a := range has {
			if slices.Contains(j.rows[h.row].acts, a) {
				pick = a.Thing
			}
		}
	}
	return slices.DeleteFunc(slices.Clone(as), func(a *claim.Act) bool { return a.Thing != pick })
}

// mark notes that the value of a stage was said. Of stages of one value, ninety degrees
// and another ninety, each time says the next one.
func (j *judge) mark(h *heard, a *claim.Act, q claim.Claim, stage int) {
	if j.said[a.Op.Target] == nil {
		j.said[a.Op.Target] = map[int]bool{}
	}
	said := j.said[a.Op.Target]
	key := h.text.Tokens[q.From].Start
	if said[stage] && j.marked[a.Op.Target] != (place{h.text, key}) {
		for _, other := range claim.Stages(a.Thing.Fastener, q, 0) {
			if !said[other] {
				stage = other
				break
			}
		}
	}
	said[stage] = true
	j.marked[a.Op.Target] = place{h.text, key}
	for _, t := range h.tokens() {
		if t.Stem == "twice" || t.Stem == "each" || t.Stem == "both" || t.Stem == "plus" || t.Stem == "lot" {
			for _, other := range claim.Stages(a.Thing.Fastener, q, 0) {
				said[other] = true
			}
		}
	}
}

// place is a word of a text.
type place struct {
	text  *claim.Text
	start int
}

// shows reports whether a clause only points at something: "that's the old bearing".
func shows(h *heard) bool {
	c := h.c()
	return slices.ContainsFunc(h.text.Tokens[c.From:c.To], func(t lexicon.Token) bool {
		return slices.Contains([]string{"that's", "this", "that", "here", "here's", "there", "there's", "was", "is", "had", "look", "see", "were"}, t.Stem)
	})
}

// showsBefore is shows for the words right before a phrase.
func showsBefore(h *heard, at int) bool {
	from := max(h.c().From, at-3)
	return slices.ContainsFunc(h.text.Tokens[from:at], func(t lexicon.Token) bool {
		return slices.Contains([]string{"that's", "thats", "this", "that", "here's", "there's", "was", "is", "had", "look", "see", "were"}, t.Stem)
	})
}

// goesOff reports whether a clause without a verb goes on with one that takes things off:
// "scrap the bolt and the old damper".
func goesOff(h *heard) bool {
	return len(h.c().Acts) == 0 && h.clause > 0 && h.text.Clauses[h.clause-1].IsAct("discard", "inspect", "check")
}

// isCaution reports whether a clause is said in the words of one of the procedure's cautions.
func (j *judge) isCaution(h *heard) bool {
	said := strings.ToLower(h.words())
	has := func(cs []specdata.Caution) bool {
		return slices.ContainsFunc(cs, func(c specdata.Caution) bool { return strings.Contains(strings.ToLower(c.Text), said) })
	}
	return has(j.w.Procedure.Cautions) || slices.ContainsFunc(j.w.Procedure.Steps, func(s specdata.Step) bool { return has(s.Cautions) })
}
