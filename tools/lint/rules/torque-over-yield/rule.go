// Package torqueoveryield finds torques that no friction can make right.
package torqueoveryield

import (
	_ "embed"
	"fmt"

	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "torque-over-yield",
	Title:     "torque takes the bolt past yield at any friction",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Edition: "2003", Note: "combined stress, fully plastic torsion"}, {Kind: lint.Standard, Document: "ISO 898-1", Edition: "2013", Note: "yield"}, {Kind: lint.Standard, Document: "ISO 3506-1", Edition: "2020", Note: "yield"}, {Kind: lint.Standard, Document: "SAE J429", Note: "yield"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.MetalThreads,
	Record:    check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	if !v.Class.Impossible() {
		p.Unjudged(joint.CheckYield)
		return
	}
	t := p.Fastener().Tightening
	i := lint.HighestStage(t)
	q := t.Stages[i].Torque
	over, breaks := v.Window.OverYield, v.Window.Breaks
	if q.SI() <= over.Torque {
		return // only the upper end of a range is over; tolerance-reaches-yield says so
	}
	does := "takes"
	if q.SI() > breaks.Torque {
		does = "breaks"
	}
	bolt := v.Against.Name
	if v.Input.Bolt.IsZero() {
		bolt += ", the strongest there is"
	}
	p.Report(lint.Problem{
		At: lint.StageAt(i, "torque"),
		Message: fmt.Sprintf("torque %s %s the bolt%s: %s (%s) yields at %s even at the highest friction, µ %s; right would be up to %s; read the source again and correct the value, the thread or the class%s",
			lint.Torque(q), does, map[string]string{"takes": " past yield"}[does], v.Input.Thread, bolt, lint.NewtonMetres(over.Torque), over.Mu,
			lint.NewtonMetres(v.Usual()), lint.Readings(v, q)),
		Arithmetic: lint.Arithmetic(v),
	})
}
