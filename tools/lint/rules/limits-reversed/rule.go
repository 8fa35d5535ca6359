// Package limitsreversed reports: the lower limit is above the upper.
package limitsreversed

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "limits-reversed",
	Title:     "the lower limit is above the upper",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Low.IsZero() || w.High.IsZero() {
			continue
		}
		switch {
		case w.Low.Dimension() != w.High.Dimension():
			p.Reportf(w.At+"/high", "limits %s and %s are not of one dimension; correct a unit", specdata.Display(w.Low), specdata.Display(w.High))
		case w.Low.SI() > w.High.SI():
			p.Reportf(w.At+"/low", "lower limit %s is above the upper limit %s; swap or correct them", specdata.Display(w.Low), specdata.Display(w.High))
		}
	}
}
