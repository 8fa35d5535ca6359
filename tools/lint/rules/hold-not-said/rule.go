// Package holdnotsaid reports: the record says what to hold and the step does not.
package holdnotsaid

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hold-not-said",
	Title:     "the record says what to hold and the step does not",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		tightens := w.Uses(specdata.Tighten, specdata.StageVerb, specdata.Turn)
		if w.Fastener == nil || w.Fastener.Tightening.Hold == nil || w.With != "" || !tightens && !w.Uses(specdata.Slacken, specdata.Remove) || w.Says("hold", "holding", "held", "counterhold") {
			continue
		}
		severity := lint.Advice
		if tightens && w.Fastener.Safety != "" {
			severity = lint.Warning
		}
		h := w.Fastener.Tightening.Hold
		p.Report(lint.Problem{At: w.At, Severity: severity, Message: string(w.Target) + ": the " + h.Turns + " turns with it unless it is held with " + h.With + ", and the step does not say so; say it, and name the tool in with"})
	}
}
