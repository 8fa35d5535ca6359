package lint

import (
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/specdata/library"
	"proofload/specdata/wording"
)

// mechanics is what several rules ask about one fastener, worked out when the
// first of them asks.
type mechanics struct {
	judged     bool
	verdict    joint.Verdict
	asked      bool
	neighbours []*library.Entry
	compared   bool
	byTorque   []Neighbour
}

// Verdict returns the fastener's judged joint. What the record states unreadably is
// in its NotChecked before what it does not state.
func (p *Pass) Verdict() *joint.Verdict {
	if !p.mechanics.judged {
		in, not := joint.FromFastener(p.Fastener())
		v := joint.Judge(in)
		if len(not) > 0 {
			v.NotChecked = append(not, v.NotChecked...)
		}
		p.mechanics.judged, p.mechanics.verdict = true, v
	}
	return &p.mechanics.verdict
}

// Neighbours returns the fasteners with the same thread and joint kind that are
// nearest in order of id. See library.Neighbours.
func (p *Pass) Neighbours() []*library.Entry {
	if !p.mechanics.asked {
		p.mechanics.asked, p.mechanics.neighbours = true, library.Neighbours(p.Library, p.Fastener())
	}
	return p.mechanics.neighbours
}

// Unjudged reports whether the verdict left a check out for a field that the
// record does not give, and if so records that the rule could not judge it.
func (p *Pass) Unjudged(c joint.Check) bool {
	for _, n := range p.Verdict().NotChecked {
		if n.Check == c && n.Missing != "" {
			p.NotChecked("/"+strings.ReplaceAll(n.Missing, ".", "/"), n.Why)
			return true
		}
	}
	return false
}

// Arithmetic returns the lines of the verdict's arithmetic as findings print them.
func Arithmetic(v *joint.Verdict) []string {
	ls := v.Lines()
	out := make([]string, len(ls))
	for i, l := range ls {
		out[i] = l.String()
	}
	return out
}

// Readings names the slips that would make the judged torque a good one, ready to
// end a message with: "; 130 N·m (96 lbf·ft) if two digits changed places". It is
// empty where none would.
func Readings(v *joint.Verdict, q specdata.Quantity) string {
	perDigit, _ := q.Unit().SI.Float64()
	var b strings.Builder
	for i, m := range v.Mend(q.Number(), perDigit) {
		sep := ", or "
		if i == 0 {
			sep = "; it would be "
		}
		b.WriteString(sep + NewtonMetres(m.Torque) + " if " + m.What)
	}
	return b.String()
}

// StageAt returns the pointer of a field of a stage.
func StageAt(i int, field string) string {
	return specdata.At("/tightening/stages", i, field)
}

// HighestStage finds the stage with the highest torque; of stages alike, the last.
// It returns -1 where no stage has a torque.
func HighestStage(t *specdata.Tightening) int {
	best := -1
	for i := range t.Stages {
		if q := t.Stages[i].Torque; q.Dimension() == specdata.Torque && (best < 0 || q.SI() >= t.Stages[best].Torque.SI()) {
			best = i
		}
	}
	return best
}

// Torque returns a torque in both unit systems, and before them as printed where
// that is in neither: "62 N·m (46 lbf·ft)", "11 kgf·m, 108 N·m (80 lbf·ft)".
func Torque(q specdata.Quantity) string {
	both := wording.Torque(q, specdata.Quantity{})
	switch q.Unit().Symbol {
	case "N.m", "lbf.ft", "lbf.in":
		return both
	}
	return specdata.Display(q) + ", " + both
}

// NewtonMetres returns a computed torque in N·m in both unit systems, rounded as
// screens round.
func NewtonMetres(nm float64) string { return wording.NewtonMetres(nm) }
