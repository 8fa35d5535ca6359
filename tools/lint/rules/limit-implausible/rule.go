// Package limitimplausible reports: a limit lies outside what is measured in such a place.
package limitimplausible

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "limit-implausible",
	Title:     "a limit lies outside what is measured in such a place",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "49 CFR part 570", Clause: "§570.9", Note: "tread"}, {Kind: lint.Regulation, Document: "49 CFR part 570", Clause: "§570.7", Note: "steering lash"}, {Kind: lint.Standard, Document: "ISO 6621-4", Note: "ring gaps", FromMemory: true}, lint.CommonPractice},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Low.IsZero() && w.High.IsZero() {
			continue
		}
		k, ok := kindOf(w)
		if !ok {
			p.NotChecked(w.At, "nothing says what sort of measure it is")
			continue
		}
		judge(p, w.At+"/low", k, w.Low)
		judge(p, w.At+"/high", k, w.High)
	}
}

func judge(p *lint.Pass, at string, k kind, q specdata.Quantity) {
	if q.Sign() == 0 { // nought is a bound of its own; an absent limit is nought too
		return
	}
	from, to := specdata.MustQuantity(k.from), specdata.MustQuantity(k.to)
	switch {
	case q.Dimension() != from.Dimension():
		p.Reportf(at, "limit %s of a %s has the wrong dimension; such limits lie between %s and %s", specdata.Display(q), k.name, specdata.Display(from), specdata.Display(to))
	case q.SI() < from.SI() || q.SI() > to.SI():
		p.Reportf(at, "limit %s of a %s is far from what is measured there, %s to %s; check the decimal point and the unit", specdata.Display(q), k.name, specdata.Display(from), specdata.Display(to))
	}
}
