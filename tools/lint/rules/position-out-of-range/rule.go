// Package positionoutofrange reports: an act names a position that the record does not have.
package positionoutofrange

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "position-out-of-range",
	Title:     "an act names a position that the record does not have",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		for _, n := range w.Positions {
			if w.Fastener != nil && n > w.Fastener.Count {
				p.Reportf(w.At+"/positions", "position %d of %s does not exist, its record has %d; correct the position or the count", n, w.Target, w.Fastener.Count)
				break
			}
		}
	}
}
