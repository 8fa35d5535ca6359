// Package stepwithoutoperation reports: a step says something and does nothing.
package stepwithoutoperation

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "step-without-operation",
	Title:     "a step says something and does nothing",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for at, s := range p.Steps() {
		if len(s.Operations) == 0 && s.Repeat == nil {
			p.Reportf(at, "step %q has no operation, so nothing it says is checked; add what it does, or make it a note", s.ID)
		}
	}
}
