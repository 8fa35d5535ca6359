// Package limitsfarapart reports: the limits of a measurement are an order of magnitude apart.
package limitsfarapart

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "limits-far-apart",
	Title:     "the limits of a measurement are an order of magnitude apart",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// farthest is the ratio of the limits from which a slipped decimal point is likelier than a wide range.
const farthest = 9

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Low.Sign() <= 0 || w.High.IsZero() || w.Low.Dimension() != w.High.Dimension() || w.High.SI() < farthest*w.Low.SI() {
			continue
		}
		p.Reportf(w.At+"/high", "limits %s and %s are a factor %.0f apart; check both for a slipped decimal point", specdata.Display(w.Low), specdata.Display(w.High), w.High.SI()/w.Low.SI())
	}
}
