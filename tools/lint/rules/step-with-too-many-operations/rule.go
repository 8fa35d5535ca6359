// Package stepwithtoomanyoperations reports: a step does more than four things.
package stepwithtoomanyoperations

import (
	_ "embed"

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
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-2106A(SH)", Clause: "appendix B"}},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// most is how many operations a step may hold; the design of procedures says one to four.
const most = 4

func check(p *lint.Pass) {
	for at, s := range p.Steps() {
		if n := len(s.Operations); n > most {
			p.Reportf(at+"/operations", "step %q has %d operations; split it, at most %d fit a tick", s.ID, n, most)
		}
	}
}
