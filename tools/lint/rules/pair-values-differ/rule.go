// Package pairvaluesdiffer holds the rule pair-values-differ: left and right of a pair are tightened differently.
package pairvaluesdiffer

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
	Name:      "pair-values-differ",
	Title:     "left and right of a pair are tightened differently",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return len(f.Pairs) > 0 }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	for i, pair := range f.Pairs {
		if pair.As != "left-right" {
			continue
		}
		o := library.Fastener(p.Library, pair.Fastener)
		if o == nil {
			p.NotChecked(specdata.At("/pairs", i, ""), "fastener "+pair.Fastener+" is not in the library")
			continue
		}
		if f.Tightening.SameValues(o.Tightening) {
			continue
		}
		p.Report(lint.Problem{
			At:      "/tightening/stages",
			Message: fmt.Sprintf("value %s differs from %s of %s, the other side of the pair; read both against the source, and waive this if the sides really differ", f.Tightening, o.Tightening, o.ID),
			Related: []specdata.Related{lint.Related(p.Library.Get(o.Name()), "/tightening/stages", "says "+o.Tightening.String())},
		})
	}
}
