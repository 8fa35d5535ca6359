// Package inspectwithoutcriterion reports: something is inspected with nothing to compare it with.
package inspectwithoutcriterion

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "inspect-without-criterion",
	Title:     "something is inspected with nothing to compare it with",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-5411-205-13", Clause: "appendix B", Note: "maintenance allocation chart, definitions"}},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if !w.Uses(specdata.Inspect, specdata.Check, specdata.Measure) || w.Do == specdata.Check && w.Fastener != nil {
			continue
		}
		if w.Accept == "" && w.Low.IsZero() && w.High.IsZero() {
			p.Reportf(w.At, "%s of %s has nothing to compare with; add accept in words, or low and high", w.Do, w.Target)
		}
	}
}
