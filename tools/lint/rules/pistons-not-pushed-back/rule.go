// Package pistonsnotpushedback reports: new brake pads are fitted and no piston is pushed back.
package pistonsnotpushedback

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "pistons-not-pushed-back",
	Title:     "new brake pads are fitted and no piston is pushed back",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, o := range p.DryRun().Outcomes {
		var back []specdata.Side
		for _, a := range o.Acts {
			if a.Do == specdata.Retract {
				back = append(back, a.Side)
			}
			part := p.Thing(a.Target).Part
			if a.Do != specdata.Fit || !a.New || part == nil || !part.Friction || !specdata.HasWord(part.Title, "pad") || slices.Contains(back, a.Side) {
				continue
			}
			p.Reportf(a.Pointer(), "%s fits new pads and no piston has been pushed back for them; add {do: retract, target: place:piston} before it, with the reservoir watched", a.Where())
			return
		}
	}
}
