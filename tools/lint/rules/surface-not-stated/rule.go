// Package surfacenotstated finds torques that do not say what the thread must be like.
package surfacenotstated

import (
	"strings"

	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "surface-not-stated",
	Title:     "thread condition is not stated",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-362-14&P", Clause: "appendix F", Note: "oiled 10 % less"}, {Kind: lint.Standard, Document: "NASA-STD-5020", Note: "scatter"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.MetalThreads,
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Surface != nil || !torqued(f.Tightening) {
		return
	}
	p.Reportf("", "surface is not stated, so the torque stands for any friction from oiled to dry, half as much clamp or twice; add surface.condition: %s", strings.Join(specdata.SurfaceConditions, ", "))
}

func torqued(t *specdata.Tightening) bool {
	for i := range t.Stages {
		if !t.Stages[i].Torque.IsZero() {
			return true
		}
	}
	return false
}
