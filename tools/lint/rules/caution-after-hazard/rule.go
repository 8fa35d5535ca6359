// Package cautionafterhazard reports: the caution comes after the act it warns of.
package cautionafterhazard

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "caution-after-hazard",
	Title:     "the caution comes after the act it warns of",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-2106A(SH)", Clause: "appendix B"}},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, h := range p.Hazards() {
		if _, ok := p.Warned(h.Name, h.Act.StepIndex); ok {
			continue
		}
		if c, ok := p.Warned(h.Name, len(p.Procedure().Steps)); ok {
			p.Report(lint.Problem{
				At:      c.At,
				Message: "caution about " + h.Name + " comes too late: " + h.Act.Where() + " " + h.Why + " before it; move it to that step or to the set-up block",
				Related: []specdata.Related{lint.Related(p.Entry, h.Act.Pointer(), "the act it warns of")},
			})
		}
	}
}
