// Package vincheckdigitwrong holds the rule vin-check-digit-wrong: check digit of the example VIN is wrong.
package vincheckdigitwrong

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "vin-check-digit-wrong",
	Title:    "check digit of the example VIN is wrong",
	Doc:      doc,
	Severity: lint.Error,
	Cites:    []lint.Citation{{Kind: lint.Regulation, Document: "49 CFR part 565", Clause: "§565.15", Edition: "2000"}},
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
	if !vin.CheckDigit {
		return
	}
	want, arithmetic, err := specdata.VINCheckDigit(vin.Example)
	if err != nil {
		p.NotChecked("/vin/example", "the example is not a VIN: "+err.Error())
		return
	}
	if got := vin.Example[8]; got != want {
		p.Report(lint.Problem{
			At:         "/vin/example",
			Message:    fmt.Sprintf("check digit of %s is %c in position 9, computed %c; correct the number, or take check_digit out if the market does not use it", vin.Example, got, want),
			Arithmetic: []string{arithmetic},
		})
	}
}
