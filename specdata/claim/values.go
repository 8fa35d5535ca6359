package claim

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// units are the units of speech in the spelling of documents, by dimension.
var torqueUnits = []string{"N.m", "lbf.ft", "lbf.in", "kgf.m"}

// In returns a quantity in a unit; ok is false where the dimensions differ or there is
// no quantity.
func In(q specdata.Quantity, symbol string) (float64, bool) { return in(q, symbol) }

func in(q specdata.Quantity, symbol string) (float64, bool) {
	u, found := specdata.LookupUnit(symbol)
	if !found || q.IsZero() {
		return 0, false
	}
	r, err := q.In(u)
	if err != nil {
		return 0, false
	}
	f, _ := r.Float64()
	return f, true
}

// values lists the values of a fastener in a unit, the pair that its source prints too.
func values(f *specdata.Fastener, stage int, unit string) []float64 {
	var out []float64
	if f == nil || f.Tightening == nil {
		return nil
	}
	for i := range f.Tightening.Stages {
		if stage > 0 && i != stage-1 {
			continue
		}
		s := &f.Tightening.Stages[i]
		for _, q := range []specdata.Quantity{s.Torque, s.Also, s.UpTo, s.Angle, s.Rolling, s.RollingTo, s.Wait} {
			if v, ok := in(q, unit); ok {
				out = append(out, v)
			}
		}
	}
	return out
}

// same reports whether a number said is a value: to the place said, and for a converted
// unit to how it is rounded when it is written down.
func same(n *Number, v float64, converted bool) bool {
	if n.Is(v) {
		return true
	}
	for _, r := range n.Readings {
		if converted && math.Abs(r-v) <= math.Max(0.5, 0.006*v)+1e-9 {
			return true
		}
	}
	return false
}

// quantity judges a number with its unit.
func (j *judging) quantity(c *Clause, q Claim, about []*Act) {
	switch {
	case slices.Contains(torqueUnits, q.Unit):
		j.torque(c, q, about)
	case q.Unit == "deg" || q.Unit == "turn":
		j.angle(c, q, about)
	case q.Unit == "mm":
		j.limit(q, about)
	case q.Unit == "km" || q.Unit == "mile":
		j.distance(q)
	case q.Unit == "min" || q.Unit == "h" || q.Unit == "s":
		for _, a := range j.scope.Acts {
			if a.Op.Do == specdata.Wait || a.Op.Do == specdata.Apply {
				known := append(j.noted(a.Op.Note, q.Unit), values2(a.Op.By, q.Unit)...)
				if len(known) > 0 && !slices.ContainsFunc(known, q.Number.Is) {
					j.say(q, []*Act{a}, false, "the act has %s", number(known[0]))
				}
			}
		}
	}
}

func values2(q specdata.Quantity, unit string) []float64 {
	if v, ok := in(q, unit); ok {
		return []float64{v}
	}
	return nil
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func (j *judging) torque(c *Clause, q Claim, about []*Act) {
	// Tightenings say a value; of another act on the same fastener it is said ahead or back.
	var known []float64
	var of *Act
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil {
			continue
		}
		stage := 0
		if a.Op.Do == specdata.StageVerb || a.Op.Do == specdata.Turn {
			stage = a.Op.Stage
		}
		vs := values(a.Thing.Fastener, stage, q.Unit)
		if len(vs) > 0 && of == nil {
			of = a
		}
		known = append(known, vs...)
	}
	if of == nil {
		return
	}
	for _, v := range known {
		if same(q.Number, v, q.Unit != "N.m") {
			return
		}
	}
	j.say(q, []*Act{of}, true, "the record has %s", specdata.Display(firstTorque(of, q.Unit)))
}

func firstTorque(a *Act, unit string) specdata.Quantity {
	var first specdata.Quantity
	for i := range a.Thing.Fastener.Tightening.Stages {
		s := &a.Thing.Fastener.Tightening.Stages[i]
		if s.Torque.IsZero() || a.Op.Do == specdata.StageVerb && a.Op.Stage != i+1 {
			continue
		}
		if first.IsZero() {
			first = s.Torque
		}
		if s.Also.Unit().Symbol == unit {
			return s.Also
		}
	}
	return first
}

// angle judges "half a turn", "ninety degrees".
func (j *judging) angle(c *Clause, q Claim, about []*Act) {
	var known []float64
	for _, a := range about {
		if v, ok := in(a.Op.By, q.Unit); ok {
			known = append(known, v)
		}
		if a.Thing != nil && a.Thing.Fastener != nil && (a.Op.Do == specdata.Tighten || a.Op.Do == specdata.Turn || a.Op.Do == specdata.StageVerb) {
			known = append(known, values(a.Thing.Fastener, 0, q.Unit)...)
		}
		known = append(known, j.noted(a.Op.Note+"; "+a.Op.Accept, q.Unit)...)
	}
	if len(known) == 0 || slices.ContainsFunc(known, q.Number.Is) {
		return
	}
	j.say(q, about, true, "the act has %s %s", number(known[0]), strings.Replace(q.Unit, "deg", "degrees", 1))
}

// limit judges a measured value against the bounds of its measurement.
func (j *judging) limit(q Claim, about []*Act) {
	var known []float64
	for _, a := range append(slices.Clone(about), j.scope.Acts...) {
		known = append(append(known, values2(a.Op.Low, q.Unit)...), values2(a.Op.High, q.Unit)...)
	}
	if len(known) == 0 || slices.ContainsFunc(known, q.Number.Is) {
		return
	}
	j.say(q, about, false, "the limits are %s", number(known[len(known)-1]))
}

// manner judges by which tool, or by hand, an act is done.
func (j *judging) manner(c *Clause, q Claim, about []*Act) {
	if q.Denied {
		return
	}
	power := q.Value == "impact-wrench" || q.Value == "power-tool"
	if leverage[q.Value] {
		j.handOnly(c, q, about)
		return
	}
	if !power && q.Value != "hand" {
		return
	}
	if !power && c.IsAct("start", "snug") && !c.IsAct("tighten") { // of another act than those in sight
		return
	}
	for _, a := range about {
		var t *specdata.Tool
		if t = j.w.Procedure.ToolOf(a.Op.Tool); t == nil {
			t = &specdata.Tool{}
		}
		f := (*specdata.Fastener)(nil)
		if a.Thing != nil {
			f = a.Thing.Fastener
		}
		switch a.Op.Do {
		case specdata.Tighten, specdata.StageVerb:
			if q.Value == "hand" && t.Kind != "torque-wrench" {
				return
			}
		case specdata.Turn:
			if q.Value == "hand" {
				return
			}
		case specdata.Start, specdata.Snug:
			if !power {
				return
			}
		case specdata.Remove, specdata.Slacken:
			if !power || t.Kind == "impact" || f == nil || f.Tightening == nil || f.Tightening.Impact != "never" {
				return
			}
		case specdata.Fit, specdata.Join, specdata.Check, specdata.Connect:
			if !power {
				return
			}
		default:
			return
		}
	}
	if len(about) == 0 {
		return
	}
	switch op := about[0].Op; {
	case power && (op.Do == specdata.Start || op.Do == specdata.Snug):
		j.say(q, about, true, "it is done by hand")
	case power && (op.Do == specdata.Remove || op.Do == specdata.Slacken):
		j.say(q, about, true, "the record allows no impact tool")
	case power:
		j.say(q, about, true, "it is not done with a power tool")
	default:
		j.say(q, about, true, "it is tightened with the torque wrench")
	}
}

// leverage are tools that turn with more than a hand has.
var leverage = map[string]bool{"holder": true, "spanner": true, "breaker-bar": true, "ratchet": true, "pliers": true, "torque-wrench": true}

// handOnly judges a tool on what the record has turned by hand alone.
func (j *judging) handOnly(c *Clause, q Claim, about []*Act) {
	if about = filter(about, tightening); c.Denied || c.IsAct("remove", "slacken", "hold") || len(about) == 0 {
		return
	}
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Tightening == nil || a.Op.With != "" || a.Op.Tool != "" ||
			!slices.ContainsFunc(a.Thing.Fastener.Tightening.Stages, func(s specdata.Stage) bool { return s.Seat == "hand" }) {
			return
		}
	}
	j.say(q, about, true, "it is turned by hand alone")
}

// newness judges "a new nut", "the old bolts go back in".
func (j *judging) newness(c *Clause, q Claim, about []*Act) {
	mounts := filter(about, func(a *Act) bool {
		return a.Op.Do == specdata.Start || a.Op.Do == specdata.Fit || a.Op.Do == specdata.Tighten || a.Op.Do == specdata.Snug || a.Op.Do == specdata.Join || a.Op.Do == specdata.Connect
	})
	if c.IsAct("discard") || j.ofAnother(c, q) {
		return
	}
	if len(mounts) == 0 || c.IsAct("remove", "discard", "slacken", "inspect", "check", "measure", "record", "clean") && !c.IsAct("start", "fit", "tighten") {
		return
	}
	if q.Denied && q.Value == "new" {
		return
	}
	for _, a := range mounts {
		isNew, rule, pieces := a.Op.New, "", false
		for _, b := range j.w.Acts { // the same piece, started new in another step
			isNew = isNew || b.Op.New && b.Op.Target == a.Op.Target
		}
		if a.Thing != nil && a.Thing.Fastener != nil && a.Thing.Fastener.Reuse != nil {
			rule, pieces = a.Thing.Fastener.Reuse.Rule, len(a.Thing.Fastener.Reuse.Renew) > 0
		}
		if q.Value == "new" && (isNew || rule != "reuse" && rule != "" || pieces) || q.Value != "new" && !isNew && rule != "replace" || q.Value != "new" && pieces && !j.pieceHere(a, q) {
			return
		}
	}
	if q.Value == "new" {
		if slices.ContainsFunc(j.scope.Acts, func(a *Act) bool { return a.Op.New }) && len(c.Names) == 0 {
			return
		}
		j.say(q, mounts, false, "no new one is fitted")
		return
	}
	j.say(q, mounts, true, "a new one is fitted")
}

// ofAnother reports whether a word of newness stands right before the name of a thing
// that no act in scope is on: "new shoes" says nothing of the screw.
func (j *judging) ofAnother(c *Clause, q Claim) bool {
	if q.To < c.To && joined(j.t.Tokens[q.To]) && slices.Contains([]string{"washer", "seal", "gasket", "pin", "clip"}, j.t.Tokens[q.To].Stem) &&
		!slices.ContainsFunc(j.scope.Acts, func(a *Act) bool { return a.Thing != nil && slices.Contains(a.Thing.words, j.t.Tokens[q.To].Stem) }) && !j.renews() {
		return true
	}
	for _, n := range c.Names {
		if d := n.From - q.To; d >= 0 && d <= 1 && n.Weak {
			return true
		} else if d >= 0 && d <= 1 {
			return !slices.ContainsFunc(j.scope.Acts, func(a *Act) bool { return slices.Contains(n.Candidates, a.Thing) })
		}
	}
	return false
}

// renews reports whether a piece of a fastener in scope is renewed.
func (j *judging) renews() bool {
	return slices.ContainsFunc(j.scope.Acts, func(a *Act) bool {
		return a.Thing != nil && a.Thing.Fastener != nil && a.Thing.Fastener.Reuse != nil && len(a.Thing.Fastener.Reuse.Renew) > 0
	})
}

// pieceHere reports whether the piece that is renewed stands beside a claim ("the old washer").
func (j *judging) pieceHere(a *Act, q Claim) bool {
	for i := q.To; i < len(j.t.Tokens) && i < q.To+3; i++ {
		if slices.Contains(a.Thing.Fastener.Reuse.Renew, j.t.Tokens[i].Stem) || j.t.Tokens[i].Stem == "washer" || j.t.Tokens[i].Stem == "seal" {
			return true
		}
	}
	return false
}

// state judges in what state of the vehicle a tightening is said to be done.
func (j *judging) state(c *Clause, q Claim, about []*Act) {
	if q.Denied || c.Denied {
		return
	}
	for _, a := range about {
		if a.Thing == nil || a.Thing.Fastener == nil || a.Thing.Fastener.Tightening == nil ||
			a.Op.Do != specdata.Tighten && a.Op.Do != specdata.StageVerb && a.Op.Do != specdata.Turn && a.Op.Do != specdata.Resolve {
			return
		}
		want := a.Thing.Fastener.Tightening.State
		wrong := want == specdata.StateOnGround && (q.Value == "raised" || q.Value == "droop") ||
			want == specdata.StateRideHeight && q.Value == "droop" ||
			want == specdata.StateDroop && q.Value == "on-ground" ||
			want == specdata.StateCold && q.Value == "hot"
		if !wrong {
			return
		}
	}
	if len(about) > 0 {
		j.say(q, about, true, "the record has it done in the state %s", strings.ReplaceAll(string(about[0].Thing.Fastener.Tightening.State), "-", " "))
	}
}

// IsTorque reports whether a claim states a torque.
func IsTorque(q Claim) bool { return q.Kind == OfQuantity && slices.Contains(torqueUnits, q.Unit) }

// HasValue reports whether a claim states a value that the fastener of an act is tightened
// to: of the stage, where the act does one stage.
func HasValue(a *Act, q Claim) bool {
	stage := 0
	if a.Op.Do == specdata.StageVerb || a.Op.Do == specdata.Turn {
		stage = a.Op.Stage
	}
	return len(Stages(a.Thing.Fastener, q, stage)) > 0
}

// Stages lists the stages of a fastener, from 1, of which a claim states the value; only
// is the one stage to look at, 0 for all. A number without a unit is tried as N·m and as
// lbf·ft.
func Stages(f *specdata.Fastener, q Claim, only int) []int {
	if f == nil || f.Tightening == nil || q.Number == nil {
		return nil
	}
	units := []string{q.Unit}
	if q.Unit == "" {
		units = []string{"N.m", "lbf.ft", "deg"}
	}
	var out []int
	for i := range f.Tightening.Stages {
		if only > 0 && i != only-1 {
			continue
		}
		for _, u := range units {
			for _, v := range values(f, i+1, u) {
				if same(q.Number, v, u != "N.m" && u != "deg" && u != "turn") && !slices.Contains(out, i+1) {
					out = append(out, i+1)
				}
			}
		}
	}
	return out
}

// Waits returns how long an act waits, in a unit of time; known is false where neither
// the act nor its note says.
func (w *World) Waits(a *Act, unit string) (v float64, known bool) {
	if v, ok := in(a.Op.For, unit); ok {
		return v, true
	}
	j := &judging{w: w}
	for _, v := range j.noted(a.Op.Note, unit) {
		return v, true
	}
	return 0, false
}
