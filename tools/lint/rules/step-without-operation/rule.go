package stepwithoutoperation

import (
	_ "embed"

	"proofload/specdata"
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
	Source:    "common practice",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Steps {
		if s := &r.Steps[i]; len(s.Operations) == 0 && s.Repeat == nil {
			p.Reportf(specdata.At("/steps", i, ""), "step %q has no operation, so nothing it says is checked; add what it does, or make it a note", s.ID)
		}
	}
}
