// Package vinpatternmalformed holds the rule vin-pattern-malformed: VIN pattern that no number can follow.
package vinpatternmalformed

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "vin-pattern-malformed",
	Title:    "VIN pattern that no number can follow",
	Doc:      doc,
	Severity: lint.Error,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "ISO 3779"}, {Kind: lint.Regulation, Document: "49 CFR part 565", Edition: "2000"}},
	Protects: lint.Fit,
	Edition:  "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle).Where(func(r specdata.Record) bool {
		v, ok := r.(*specdata.Vehicle)
		return ok && v.VIN != nil
	}),
	Record: check,
}

func check(p *lint.Pass) {
	vin := p.Vehicle().VIN
	if err := specdata.CheckVINPattern(vin.Pattern, vin.CheckDigit); err != nil {
		p.Reportf("/vin/pattern", "VIN pattern %q is malformed: %v; correct it, with * for every character that differs from vehicle to vehicle", vin.Pattern, err)
		return
	}
	if tail := vin.Pattern[specdata.VINLength-4:]; strings.Trim(tail, "0123456789*") != "" {
		p.Report(lint.Problem{At: "/vin/pattern", Severity: lint.Warning, Message: "VIN pattern \"" + vin.Pattern + "\" ends in \"" + tail + "\"; the last four characters are the serial number and are digits, write digits or *"})
	}
}
