// Package hazardwithoutcaution reports: an act that can hurt someone has no caution before it.
package hazardwithoutcaution

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hazard-without-caution",
	Title:     "an act that can hurt someone has no caution before it",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ANSI Z535.4", Edition: "2007", Note: "signal words, testdata/reference/signal_words.csv"}},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, h := range p.Hazards() {
		if _, ok := p.Warned(h.Name, len(p.Procedure().Steps)); ok {
			continue // one that comes too late is reported by caution-after-hazard
		}
		p.Report(lint.Problem{At: h.Act.Pointer(), Severity: severity(h), Message: h.Act.Where() + " " + h.Why + ", and no caution warns of it; add {signal: " + h.Least + ", hazard: " + h.Name + ", text: …} to the set-up block or the step"})
	}
}

func severity(h dryrun.Hazard) specdata.Severity {
	switch {
	case h.Grave:
		return lint.Error
	case h.Name == "hot-fluid" && h.Least == "caution":
		return lint.Advice
	}
	return lint.Warning
}
