// Package optionconditionalwaystrue holds the rule option-condition-always-true: option condition that every build meets.
package optionconditionalwaystrue

import (
	_ "embed"
	"maps"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "option-condition-always-true",
	Title:     "option condition that every build meets",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	for i, a := range specdata.AppliesOf(p.Entry.Record) {
		if len(a.Where) == 0 {
			continue
		}
		v := library.Vehicle(p.Library, a.Vehicle)
		if v == nil {
			p.NotChecked(specdata.At("/applies_to", i, "vehicle"), "vehicle "+a.Vehicle+" is not in the library")
			continue
		}
		for _, key := range slices.Sorted(maps.Keys(a.Where)) {
			all := v.Options[key]
			if len(all) == 0 || slices.ContainsFunc(all, func(s string) bool { return !slices.Contains(a.Where[key], s) }) {
				continue
			}
			p.Reportf(specdata.At("/applies_to", i, "where/"+key), "condition on %s lists every value that %s may have, so it restricts nothing; take it out, or keep only the values it is meant for", key, a.Vehicle)
		}
	}
}
