// Package tolerancenotstated finds torques with no tolerance, for which ±10 % is assumed.
package tolerancenotstated

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "tolerance-not-stated",
	Title:     "torque has no tolerance, so ±10 % is assumed",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-362-14&P", Clause: "appendix F", Note: "±10 % where none is given"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Tightening != nil && f.Tightening.Tolerance.IsZero() }),
	Record:    check,
}

func check(p *lint.Pass) {
	t := p.Fastener().Tightening
	for i := range t.Stages {
		s := &t.Stages[i]
		if s.Torque.IsZero() || !s.UpTo.IsZero() {
			continue // a printed range is its own tolerance
		}
		low, high := t.Bounds(s)
		p.Reportf(lint.StageAt(i, "torque"), "torque %s has no tolerance, so ±%.0f %% is assumed, which is %.3g to %.3g N·m; add tightening.tolerance as the source prints it",
			specdata.Display(s.Torque), 100*specdata.AssumedTolerance, low, high)
		return
	}
}
