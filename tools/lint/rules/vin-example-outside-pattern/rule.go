// Package vinexampleoutsidepattern holds the rule vin-example-outside-pattern: example VIN does not follow the pattern.
package vinexampleoutsidepattern

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "vin-example-outside-pattern",
	Title:    "example VIN does not follow the pattern",
	Doc:      doc,
	Severity: lint.Error,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "ISO 3779"}},
	Protects: lint.Fit,
	Edition:  "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle).Where(func(r specdata.Record) bool {
		v, ok := r.(*specdata.Vehicle)
		return ok && v.VIN != nil && v.VIN.Example != ""
	}),
	Record: check,
}

func check(p *lint.Pass) {
	vin := p.Vehicle().VIN
	if err := specdata.CheckVIN(vin.Example); err != nil {
		p.Reportf("/vin/example", "example %q is not a VIN: %v; correct it", vin.Example, err)
		return
	}
	if i, ok := specdata.FitsVINPattern(vin.Example, vin.Pattern); !ok {
		p.Reportf("/vin/example", "example %s has %q in position %d, where the pattern %s has %q; correct whichever is wrong", vin.Example, vin.Example[i-1], i, vin.Pattern, vin.Pattern[i-1])
	}
}
