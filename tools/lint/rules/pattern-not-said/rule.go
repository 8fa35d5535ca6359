// Package patternnotsaid reports: several fasteners are tightened and the step says no order.
package patternnotsaid

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "pattern-not-said",
	Title:     "several fasteners are tightened and the step says no order",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 5-3805-248-23-1"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var words = []string{"cross", "crosswise", "crossways", "star", "spiral", "sequence", "order", "pattern", "circle", "circular", "centre", "center", "middle", "round", "evenly", "alternate", "alternately", "diagonal", "diagonally", "opposite", "numbered"}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		f := w.Fastener
		if f == nil || !w.Uses(specdata.Tighten, specdata.StageVerb) || f.Tightening.Pattern == nil || f.Tightening.Pattern.Order == "one" || f.Count < 3 || len(w.Positions) > 0 || w.Says(words...) {
			continue
		}
		severity := lint.Advice
		if f.Safety != "" || f.Joint == specdata.JointWheel {
			severity = lint.Warning
		}
		p.Report(lint.Problem{At: w.At, Severity: severity, Message: string(w.Target) + ": its record has the order " + f.Tightening.Pattern.Order + ", and the step says none; say it in the sentence"})
	}
}
