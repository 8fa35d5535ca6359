// Package pairnotmutual holds the rule pair-not-mutual: only one of two paired records knows of the pair.
package pairnotmutual

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "pair-not-mutual",
	Title:     "only one of two paired records knows of the pair",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	for i, pair := range f.Pairs {
		at := specdata.At("/pairs", i, "")
		if pair.Fastener == f.ID {
			p.Reportf(at+"/fastener", "fastener is paired with itself; name the other fastener")
			continue
		}
		o := library.Fastener(p.Library, pair.Fastener)
		if o == nil {
			p.NotChecked(at, "fastener "+pair.Fastener+" is not in the library")
			continue
		}
		var back *specdata.Pair
		for j := range o.Pairs {
			// Which of two is the first stage, the pair does not say; any pair back will do.
			if b := &o.Pairs[j]; b.Fastener == f.ID && (back == nil || b.As == pair.As) {
				back = b
			}
		}
		related := []specdata.Related{lint.Related(p.Library.Get(o.Name()), "/pairs", "the other record's pairs")}
		switch {
		case back == nil:
			p.Report(lint.Problem{At: at, Related: related, Message: fmt.Sprintf(
				"pair with %s is not mutual: that record does not name this one; add {fastener: %s, as: %s} there, or take the pair out", o.ID, f.ID, pair.As)})
		case back.As != pair.As && pair.As != "first-stage" && back.As != "first-stage":
			p.Report(lint.Problem{At: at + "/as", Related: related, Message: fmt.Sprintf(
				"pair with %s is %s here and %s there; say the same in both", o.ID, pair.As, back.As)})
		}
	}
}
