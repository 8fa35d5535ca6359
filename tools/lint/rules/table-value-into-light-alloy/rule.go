// Package tablevalueintolightalloy finds table values for steel that go into light alloy.
package tablevalueintolightalloy

import (
	_ "embed"
	"fmt"

	"proofload/specdata/joint"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "table-value-into-light-alloy",
	Title:     "general table value goes uncut into light alloy",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-362-14&P", Clause: "appendix F", Note: "30 % less"}, {Kind: lint.Manual, Document: "US Army TM 5-3895-360-13", Clause: "appendix G", Note: "30 % less"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.LoadedHoles,
	Record:    check,
}

// uncut is the share of a table's value from which it was plainly not cut: the
// manuals take off 30 % or more, and tables differ by a tenth.
const uncut = 0.8

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Thread.Into != "aluminium" && f.Thread.Into != "magnesium" || f.Source == nil {
		return
	}
	src := library.Source(p.Library, f.Source.Document)
	if src == nil || src.Type != "table" {
		return // a value made for the part has its thread in mind
	}
	v := p.Verdict()
	if v.Input.Bolt.IsZero() {
		p.Unjudged(joint.CheckYield)
		return
	}
	i := lint.HighestStage(f.Tightening)
	if i < 0 || v.Input.Angle > 0 {
		return
	}
	q, usual := f.Tightening.Stages[i].Torque, v.Usual()
	if q.SI() <= uncut*usual {
		return
	}
	p.Report(lint.Problem{
		At: lint.StageAt(i, "torque"),
		Message: fmt.Sprintf("torque %s is the value of the general table %s for %s in steel (about %s), and this thread is in %s; cut it by 30 %% or more, to about %s, or cite a document that gives it for this part",
			lint.Torque(q), src.ID, v.Input.Bolt.Name, lint.NewtonMetres(usual), f.Thread.Into, lint.NewtonMetres(0.7*q.SI())),
	})
}
