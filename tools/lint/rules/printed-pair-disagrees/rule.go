// Package printedpairdisagrees finds torques whose two printed units do not convert.
package printedpairdisagrees

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "printed-pair-disagrees",
	Title:     "two printed units of one torque do not convert",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "NIST SP 811", Clause: "appendix B", Note: "factors"}, {Kind: lint.Practice, Note: "rounding intervals, tried on printed pairs of US Army manuals"}},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

// loose is the miss that careless rounding explains.
const loose = 0.01

func check(p *lint.Pass) {
	stages := p.Fastener().Tightening.Stages
	for i := range stages {
		a, b := stages[i].Torque, stages[i].Also
		if b.IsZero() || a.Agree(b) {
			continue
		}
		pr := lint.Problem{At: lint.StageAt(i, "also"), Arithmetic: []string{interval(a), interval(b)}}
		miss := a.Miss(b)
		if miss < loose {
			pr.Severity = lint.Advice
			pr.Message = fmt.Sprintf("pair %s and %s is loosely rounded: they miss each other by %.1f %%; keep both if the source prints them so", specdata.Display(a), specdata.Display(b), 100*miss)
		} else if a.Unit() == b.Unit() {
			pr.Message = fmt.Sprintf("torque %s and also %s are both in %s and differ; also is the same torque in the second unit that the source prints: read it again, or leave it out", specdata.Display(a), specdata.Display(b), a.Unit().Display)
		} else {
			pr.Message = fmt.Sprintf("pair %s and %s does not convert: %[1]s is %[3]s; one of the two is wrong%s; read both again in the source", specdata.Display(a), specdata.Display(b), other(a, b.Unit()), cause(a, b))
		}
		p.Report(pr)
	}
}

func interval(q specdata.Quantity) string {
	low, high := q.Interval()
	low.Mul(low, q.Unit().SI)
	high.Mul(high, q.Unit().SI)
	return fmt.Sprintf("%s: rounded from %s to %s N·m", specdata.Display(q), low.FloatString(3), high.FloatString(3))
}

// other returns a torque in another unit, with as many digits as a check needs.
func other(q specdata.Quantity, u specdata.Unit) string {
	r, err := q.In(u)
	if err != nil {
		return specdata.Display(q)
	}
	f, _ := r.Float64()
	return fmt.Sprintf("%.4g %s", f, u.Display)
}

// cause names the slip that would explain the pair, ready to stand in the message.
func cause(a, b specdata.Quantity) string {
	if a.Number() == b.Number() {
		return " (the same number stands in both units)"
	}
	with := func(q specdata.Quantity, u specdata.Unit) specdata.Quantity {
		r, err := specdata.ParseQuantity(q.Number() + " " + u.Symbol)
		if err != nil {
			return q
		}
		return r
	}
	if with(a, b.Unit()).Agree(with(b, a.Unit())) {
		return fmt.Sprintf(" (the numbers agree with the units exchanged: %s is %s)", specdata.Display(with(a, b.Unit())), specdata.Display(with(b, a.Unit())))
	}
	for _, s := range specdata.UnitsOf(specdata.Torque) {
		u, _ := specdata.LookupUnit(s)
		if a.Agree(with(b, u)) {
			return fmt.Sprintf(" (%s would agree)", specdata.Display(with(b, u)))
		}
		if with(a, u).Agree(b) {
			return fmt.Sprintf(" (%s would agree)", specdata.Display(with(a, u)))
		}
	}
	for _, pair := range [2][2]specdata.Quantity{{a, b}, {b, a}} {
		for _, n := range joint.Transpositions(pair[0].Number()) {
			q, err := specdata.ParseQuantity(n + " " + pair[0].Unit().Symbol)
			if err == nil && q.Agree(pair[1]) {
				return fmt.Sprintf(" (%s would agree: two digits changed places)", specdata.Display(q))
			}
		}
	}
	if s, ok := joint.SlipOf(b.SI()/a.SI(), 0.02); ok {
		return " (" + s.What + ")"
	}
	return ""
}
