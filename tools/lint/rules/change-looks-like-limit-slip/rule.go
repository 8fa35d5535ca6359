// Package changelookslikelimitslip reports: a limit moves by a factor that a slip makes.
package changelookslikelimitslip

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-looks-like-limit-slip",
	Title:     "a limit moves by a factor that a slip makes",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "NIST SP 811", Clause: "appendix B", Note: "factors"}, lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Change:    check,
}

// factors are those people put in by mistake.
var factors = []float64{10, 12, 25.4, 100}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Procedure)
	if !ok {
		return
	}
	before := map[specdata.Target][]*specdata.Operation{}
	for i := range was.Steps {
		for j := range was.Steps[i].Operations {
			if op := &was.Steps[i].Operations[j]; !op.Low.IsZero() || !op.High.IsZero() {
				before[op.Target] = append(before[op.Target], op)
			}
		}
	}
	for _, w := range p.Operations() {
		list := before[w.Target]
		if len(list) == 0 || w.Low.IsZero() && w.High.IsZero() {
			continue
		}
		o := list[0]
		before[w.Target] = list[1:]
		limit(p, w.At+"/low", o.Low, w.Low)
		limit(p, w.At+"/high", o.High, w.High)
	}
}

func limit(p *lint.Pass, at string, was, is specdata.Quantity) {
	if was.Sign() <= 0 || is.Sign() <= 0 || was.Dimension() != is.Dimension() {
		return
	}
	ratio := is.SI() / was.SI()
	for _, f := range factors {
		if near(ratio, f) || near(ratio, 1/f) {
			p.Reportf(at, "limit changes from %s to %s, a factor %.3g; read it in the source again", specdata.Display(was), specdata.Display(is), ratio)
			return
		}
	}
}

func near(a, b float64) bool { return a > 0.99*b && a < 1.01*b }
