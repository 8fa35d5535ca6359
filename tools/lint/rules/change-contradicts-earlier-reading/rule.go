// Package changecontradictsearlierreading reports: two readings of one document disagree.
package changecontradictsearlierreading

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-contradicts-earlier-reading",
	Title:     "two readings of one document disagree",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || was.Source == nil || is.Source == nil || was.Source.Document != is.Source.Document || was.Tightening.SameValues(is.Tightening) {
		return
	}
	if !states(was.Source.Quote, was.Tightening) || !states(is.Source.Quote, is.Tightening) || was.Source.Quote == is.Source.Quote {
		return
	}
	p.Reportf("/source/quote", "%s was read in %s on %s, and %s on %s; a page has one value: look once more and say in the reason which reading was wrong",
		was.Source.Quote, is.Source.Document, was.Source.ReadOn, is.Source.Quote, is.Source.ReadOn)
}

// states reports whether a quote has every torque and angle of a tightening, and there is one.
func states(quote string, t *specdata.Tightening) bool {
	mentions := specdata.Mentions(quote)
	any := false
	for _, s := range t.Values() {
		for _, q := range []specdata.Quantity{s.Torque, s.Angle, s.Rolling, s.RollingTo} {
			if q.IsZero() || q.Sign() == 0 {
				continue
			}
			any = true
			found := false
			for _, m := range mentions {
				found = found || m.Quantity.Agree(q)
			}
			if !found {
				return false
			}
		}
	}
	return any
}
