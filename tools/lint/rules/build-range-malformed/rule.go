// Package buildrangemalformed holds the rule build-range-malformed: build range cannot be read.
package buildrangemalformed

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "build-range-malformed",
	Title:     "build range cannot be read",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 8601", Note: "calendar days and weeks"}},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle, specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure),
	NoWaiver:  true,
	Record:    check,
}

func check(p *lint.Pass) {
	if v, ok := p.Entry.Record.(*specdata.Vehicle); ok {
		if err := v.Built.Check(); err != nil {
			p.Reportf("/built", "%v", err)
		}
		return
	}
	for i, a := range specdata.AppliesOf(p.Entry.Record) {
		if err := a.Built.Check(); err != nil {
			p.Reportf(specdata.At("/applies_to", i, "built"), "%v", err)
		}
	}
}
