// Package torquemayyield finds torques that are right only where friction is high.
package torquemayyield

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
	Name:      "torque-may-yield",
	Title:     "torque yields the bolt unless friction is high",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Note: "tightening tables at 90 % of yield"}, {Kind: lint.Standard, Document: "ISO 898-1"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.MetalThreads,
	Record:    check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	if v.Class != joint.MayYield {
		return
	}
	t := p.Fastener().Tightening
	i := lint.HighestStage(t)
	q := t.Stages[i].Torque
	if q.SI() <= v.Window.MayYield.Torque {
		return // only the upper end of a range reaches; tolerance-reaches-yield says so
	}
	p.Report(lint.Problem{
		At: lint.StageAt(i, "torque"),
		Message: fmt.Sprintf("torque %s yields %s (%s) unless friction is high: %.0f %% of yield at µ %s; tables made for this surface end at %s; correct the value, or state the friction band it was made for in surface.friction%s",
			lint.Torque(q), v.Input.Thread, v.Against.Name, 100*v.YieldHigh, v.Window.High.Mu, lint.NewtonMetres(v.Usual()), lint.Readings(v, q)),
		Arithmetic: lint.Arithmetic(v),
	})
}
