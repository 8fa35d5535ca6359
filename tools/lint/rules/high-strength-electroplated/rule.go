// Package highstrengthelectroplated finds bolts so hard that plating makes them brittle.
package highstrengthelectroplated

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
	Name:     "high-strength-electroplated",
	Title:    "very hard bolt is electroplated",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "ISO 4042", Note: "hydrogen embrittlement", FromMemory: true}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Strength != nil && f.Strength.Bolt != "" && f.Strength.Finish != ""
	}),
	Record: check,
}

// hard is the tensile strength in Pa from which ISO 4042 wants care: class 12.9
// has 385 to 435 HV, and the limit is 390 HV (from memory).
const hard = 1200e6

func check(p *lint.Pass) {
	s := p.Fastener().Strength
	if !plated(s.Finish) || p.Verdict().Input.Bolt.Tensile < hard {
		return
	}
	p.Reportf("/strength/finish", "finish %q on class %s can make the bolt brittle: plating brings hydrogen into steel this hard, and it breaks days later; check finish and class, or name the baking that drives the hydrogen out", s.Finish, s.Bolt)
}

// plated recognises electroplating in a finish; flake, phosphate and mechanical
// coatings bring no hydrogen.
func plated(finish string) bool {
	f := strings.ToLower(finish)
	for _, safe := range [...]string{"flake", "mechanical", "phosph", "baked", "hydrogen"} {
		if strings.Contains(f, safe) {
			return false
		}
	}
	for _, word := range [...]string{"plated", "electro", "zinc", "zn", "cadmium", "chrom"} {
		if strings.Contains(f, word) {
			return true
		}
	}
	return false
}
