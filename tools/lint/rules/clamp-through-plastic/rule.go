// Package clampthroughplastic finds plastic that is tightened like steel.
package clampthroughplastic

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
	Name:     "clamp-through-plastic",
	Title:    "torque is too high for plastic",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Practice, Note: "the weakest steel class as a measure"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Thread != nil && (f.Joint == specdata.JointPlastic || f.Thread.Into == "plastic")
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	i := lint.HighestStage(f.Tightening)
	if i < 0 {
		return
	}
	t, err := joint.ParseThread(f.Thread.Designation)
	if err != nil {
		p.NotChecked("/thread/designation", err.Error())
		return
	}
	weakest, err := joint.BoltGrade("4.8", t.Major)
	if err != nil {
		p.NotChecked("/thread/designation", err.Error())
		return
	}
	q := f.Tightening.Stages[i].Torque
	limit := joint.YieldTorque(t, joint.StandardBearing(t), joint.Same(0.12), joint.TableUtilisation*weakest.Yield)
	pr := lint.Problem{At: lint.StageAt(i, "torque")}
	if f.Thread.Into != "plastic" {
		// A sleeve in the plastic may take the load; then the kind is clamp.
		limit, pr.Severity = 2*limit, lint.Advice
	}
	if q.SI() <= limit {
		return
	}
	pr.Message = fmt.Sprintf("torque %s is too high for plastic: even the weakest steel bolt of %s is fully tight at %s; check unit and digits, or the joint kind if a steel sleeve takes the load", lint.Torque(q), t, lint.NewtonMetres(limit))
	p.Report(pr)
}
