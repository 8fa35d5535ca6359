// Package bushstatenotstated finds bolts of rubber bushes that may be tightened anyhow.
package bushstatenotstated

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "bush-state-not-stated",
	Title:    "bolt of a rubber bush may be tightened in any vehicle state",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{lint.CommonPractice},
	Protects: lint.Wheels,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Tightening.State == specdata.StateAny && f.Joint == specdata.JointClamp
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	bush := specdata.HasWord(f.Title, "bush", "bushing")
	// What holds the bush does not pass through it.
	other := specdata.HasWord(f.Title, "bracket", "clamp", "strap", "cap", "housing", "carrier", "plate", "retainer")
	if bush && !other {
		p.Reportf("/tightening/state", "state is any, but by its title this bolt passes through a bush; bonded rubber stays twisted and tears unless it is tightened at ride height: write ride-height, unless the bush slides or its axis is vertical")
	}
}
