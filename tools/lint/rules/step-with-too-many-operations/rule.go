package stepwithtoomanyoperations

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "step-with-too-many-operations",
	Title:     "a step does more than four things",
	Doc:       doc,
	Severity:  lint.Advice,
	Source:    "MIL-STD-2106A(SH) appendix B",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// most is how many operations a step may hold; the design of procedures says one to four.
const most = 4

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Steps {
		if n := len(r.Steps[i].Operations); n > most {
			p.Reportf(specdata.At("/steps", i, "operations"), "step %q has %d operations; split it, at most %d fit a tick", r.Steps[i].ID, n, most)
		}
	}
}
