// Package severalwithoutpattern finds groups of fasteners whose order is not stated.
package severalwithoutpattern

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "several-without-pattern",
	Title:    "several fasteners of a face have no order",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 5-3805-248-23-1", Note: "patterns"}, {Kind: lint.Manual, Document: "US Army TB 9-3950-253-13&P", Note: "patterns"}, lint.CommonPractice},
	Protects: lint.Method,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Count >= 3 && (f.Joint == specdata.JointClamp || f.Joint == specdata.JointWheel)
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	// Any order of three goes round; a wheel still has to be drawn on evenly.
	if f.Tightening.Pattern != nil || f.Joint == specdata.JointClamp && f.Count < 4 {
		return
	}
	p.Reportf("/count", "order of the %d fasteners is not stated; add tightening.pattern.order (cross, star, spiral, sequence, centre-out, circle), or one where each stands for itself", f.Count)
}
