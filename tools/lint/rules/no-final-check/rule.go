// Package nofinalcheck reports: a safety joint was made and nothing at the end looks at it.
package nofinalcheck

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "no-final-check",
	Title:     "a safety joint was made and nothing at the end looks at it",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	last := -1
	for _, u := range p.Tightenings() {
		if u.Final && u.Fastener.Safety != "" {
			last = max(last, u.Act.StepIndex)
		}
	}
	if last < 0 {
		return
	}
	for i := last; i < len(p.Procedure().Steps); i++ {
		for _, op := range p.Procedure().Steps[i].Operations {
			switch op.Do {
			case specdata.RoadTest, specdata.Check, specdata.Inspect, specdata.Measure, specdata.RecordJob:
				return
			}
		}
	}
	p.Reportf(specdata.At("/steps", last, ""), "step %q makes the last safety joint, and nothing after it looks at the work; add a road test or a check", p.Procedure().Steps[last].ID)
}
