// Package angleneedsgriplength finds reusable angle-tightened bolts whose stretch cannot be worked out.
package angleneedsgriplength

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "angle-needs-grip-length",
	Title:     "angle stage cannot be judged without the clamped length",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Clause: "section 5.1", Edition: "2003", Note: "resilience"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.MetalThreads,
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Reuse.Rule != "reuse" || !f.Thread.Grip.IsZero() {
		return // a bolt that is renewed or measured may pass yield
	}
	for i := range f.Tightening.Stages {
		if q := f.Tightening.Stages[i].Angle; !q.IsZero() {
			p.Reportf(lint.StageAt(i, "angle"), "angle %s on a bolt that is used again cannot be judged: thread.grip, the clamped length, is not stated; measure it and add it", specdata.Display(q))
			return
		}
	}
}
