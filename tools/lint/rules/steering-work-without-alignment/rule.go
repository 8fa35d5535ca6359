// Package steeringworkwithoutalignment reports: the steering was worked on and the geometry is not looked at.
package steeringworkwithoutalignment

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "steering-work-without-alignment",
	Title:     "the steering was worked on and the geometry is not looked at",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-364-20-5", Clause: "§14-11"}},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, o := range p.DryRun().Outcomes {
		if slices.ContainsFunc(o.Acts, func(a *dryrun.Act) bool { return a.Do == specdata.Align }) {
			continue
		}
		for _, u := range o.Torques {
			owes := slices.ContainsFunc(u.Fastener.FollowUps, func(f specdata.FollowUp) bool { return f.Check == "alignment" })
			if u.Final && u.Fastener.Safety == "steering" && !owes {
				p.Reportf(u.Act.Pointer(), "%s is a steering joint and no step looks at the geometry; add align, or the follow-up to the record", u.Act.Target)
				return
			}
		}
	}
}
