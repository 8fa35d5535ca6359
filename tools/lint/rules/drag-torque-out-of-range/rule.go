// Package dragtorqueoutofrange finds prevailing torques that no nut of the size has.
package dragtorqueoutofrange

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
	Name:      "drag-torque-out-of-range",
	Title:     "prevailing torque is not that of the thread",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 2320", FromMemory: true}, {Kind: lint.Manual, Document: "US Army TM 1-1500-204-23-6", Clause: "table 2-8"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil && !f.Tightening.DragTorque.IsZero() }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	q := f.Tightening.DragTorque
	if i := lint.HighestStage(f.Tightening); i >= 0 && q.SI() >= f.Tightening.Stages[i].Torque.SI() {
		p.Reportf("/tightening/drag_torque", "drag %s is not less than the torque %s, so nothing is left to clamp; check unit and digits of both", lint.Torque(q), lint.Torque(f.Tightening.Stages[i].Torque))
		return
	}
	t := p.Verdict().Input.Thread
	if t.IsZero() {
		p.Unjudged(joint.CheckYield)
		return
	}
	d, err := joint.PrevailingTorque(t)
	if err != nil {
		p.NotChecked("/tightening/drag_torque", err.Error())
		return
	}
	// A used nut drags less than a new one and a few drag more; half as much again
	// is no news.
	const slack = 1.5
	if q.SI() < d.FifthOffMin/slack || d.FirstOnMax > 0 && q.SI() > d.FirstOnMax*slack {
		most := ""
		if d.FirstOnMax > 0 {
			most = " to " + lint.NewtonMetres(d.FirstOnMax)
		}
		p.Report(lint.Problem{At: "/tightening/drag_torque", Severity: lint.Advice,
			Message: fmt.Sprintf("drag %s is unusual for %s; self-locking nuts of the size have %s%s; check unit and digits", lint.Torque(q), t, lint.NewtonMetres(d.FifthOffMin), most)})
	}
}
