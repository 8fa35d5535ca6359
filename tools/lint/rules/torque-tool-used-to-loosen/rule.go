// Package torquetoolusedtoloosen reports: a torque wrench is used to loosen.
package torquetoolusedtoloosen

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "torque-tool-used-to-loosen",
	Title:     "a torque wrench is used to loosen",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "NAVEDTRA 14001"}, {Kind: lint.Manual, Document: "US Army TB 43-0218"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Fastener != nil && w.Listed != nil && w.Listed.Kind == "torque-wrench" && w.Uses(specdata.Slacken, specdata.Remove, specdata.Unlock) {
			p.Reportf(w.At+"/tool", "%s loosens %s, which spoils its calibration; use a bar", w.Listed.Title, w.Fastener.Title)
		}
	}
}
