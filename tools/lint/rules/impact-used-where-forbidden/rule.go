// Package impactusedwhereforbidden reports: an impact tool is used where it may not be.
package impactusedwhereforbidden

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "impact-used-where-forbidden",
	Title:     "an impact tool is used where it may not be",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "NTSB SIR-92/04"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Fastener == nil || w.Listed == nil || w.Listed.Kind != "impact" {
			continue
		}
		rule, title := w.Fastener.Tightening.Impact, w.Fastener.Title
		switch {
		case w.Uses(specdata.Tighten, specdata.StageVerb, specdata.Turn):
			p.Reportf(w.At+"/tool", "impact tool on the final value of %s; an impact tool has none, finish with a torque wrench", title)
		case w.Do == specdata.Start:
			p.Reportf(w.At+"/tool", "impact tool to start %s; a thread is started by hand", title)
		case w.Do == specdata.Snug && rule != "allowed":
			p.Reportf(w.At+"/tool", "impact tool to run %s down, and its record says %s; run it down by hand", title, rule)
		case w.Uses(specdata.Slacken, specdata.Remove) && rule == "never":
			p.Reportf(w.At+"/tool", "impact tool on %s, and its record says never; use a bar", title)
		}
	}
}
