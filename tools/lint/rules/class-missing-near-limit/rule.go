// Package classmissingnearlimit finds torques near the limit of a class that nobody stated.
package classmissingnearlimit

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
	Name:     "class-missing-near-limit",
	Title:    "strength class is missing where the torque depends on it",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "ISO 898-1", Edition: "2013"}, {Kind: lint.Standard, Document: "VDI 2230", Edition: "2003", Note: "90 % of yield"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Thread != nil && (f.Strength == nil || f.Strength.Bolt == "") &&
			(f.Joint == specdata.JointClamp || f.Joint == specdata.JointWheel) && f.Thread.Into != "plastic"
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	v := p.Verdict()
	in := &v.Input
	i := lint.HighestStage(f.Tightening)
	if i < 0 || v.Class.Impossible() {
		return
	}
	if in.Thread.IsZero() {
		p.Unjudged(joint.CheckYield)
		return
	}
	q := f.Tightening.Stages[i].Torque
	mu := joint.Mu{Thread: in.ThreadBand.Typical, Head: in.HeadBand.Typical}
	common, class := "8.8", "10.9"
	if !in.Thread.Metric() {
		common, class = "grade 5", "grade 8"
	}
	g, err := joint.BoltGrade(common, in.Thread.Major)
	if err != nil {
		p.NotChecked("/thread/designation", err.Error())
		return
	}
	limit := joint.YieldTorque(in.Thread, in.Bearing, mu, joint.TableUtilisation*g.Yield)
	if q.SI() <= limit {
		return
	}
	if least, ok := joint.LeastGrade(in.Thread, in.Bearing, mu, q.SI()); ok {
		class = least.Name
	}
	p.Report(lint.Problem{At: lint.StageAt(i, "torque"), Message: fmt.Sprintf("torque %s is over the %s that %s takes on %s, and the record states no class; it implies %s or stronger: read the marking and add strength.bolt",
		lint.Torque(q), lint.NewtonMetres(limit), common, in.Thread, class)})
}
