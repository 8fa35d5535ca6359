// Package actleftunsaid finds acts that the sentence of their step never mentions.
package actleftunsaid

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
	Name:      "act-left-unsaid",
	Title:     "a step does something that its sentence never mentions",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for i := range p.Procedure().Steps {
		t, scope := p.Sentence(i)
		unsaid := p.Words().Unsaid(t, scope.Acts)
		for k, a := range scope.Acts {
			if slices.Contains(unsaid, a) {
				p.Reportf(specdata.At(specdata.At("/steps", i, "operations"), k, ""),
					"act %q on %q is not in the sentence, neither the act nor the thing; say it, or make it a step of its own", a.Op.Do, a.Op.Target)
			}
		}
	}
}
