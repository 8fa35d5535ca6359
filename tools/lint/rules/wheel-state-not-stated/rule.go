// Package wheelstatenotstated reports: wheel fastener may be tightened in any vehicle state.
package wheelstatenotstated

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "wheel-state-not-stated",
	Title:     "wheel fastener may be tightened in any vehicle state",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2330-238-14", Note: "which differ"}, {Kind: lint.Manual, Document: "US Army TM 10-4320-344-24", Note: "which differ"}, lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Joint == specdata.JointWheel }),
	Record:    check,
}

func check(p *lint.Pass) {
	if p.Fastener().Tightening.State == specdata.StateAny {
		p.Reportf("/tightening/state", "state is any for a wheel fastener; write on-ground, where the hub cannot turn and the wheel sits as it will run, or waive with the source that tightens with the wheel raised")
	}
}
