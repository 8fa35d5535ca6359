// Package vehiclestandstwice holds the rule vehicle-stands-twice: two records describe one vehicle.
package vehiclestandstwice

import (
	_ "embed"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "vehicle-stands-twice",
	Title:     "two records describe one vehicle",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle),
	Record:    check,
}

// Reported on both records, each pointing at the other.
func check(p *lint.Pass) {
	v := p.Vehicle()
	for _, e := range p.Duplicates() {
		o, ok := e.Record.(*specdata.Vehicle)
		if !ok || !specdata.SameWords(o.Make, v.Make) || apart(v, o) {
			continue
		}
		p.Report(lint.Problem{
			At:      "/model",
			Message: fmt.Sprintf("vehicle stands twice: %s is also a %s %s, built %s; merge the records, or tell them apart by builds, options or markets", o.ID, o.Make, o.Model, o.Built),
			Related: []specdata.Related{lint.Related(e, "/model", "the other record")},
		})
	}
}

// apart reports whether something that the two records say keeps them apart.
func apart(v, o *specdata.Vehicle) bool {
	if !v.Built.Comparable(o.Built) || !v.Built.Overlaps(o.Built) || disjoint(v.Markets, o.Markets) {
		return true
	}
	for key, values := range v.Options {
		if disjoint(values, o.Options[key]) {
			return true
		}
	}
	return v.VIN != nil && o.VIN != nil && exclude(v.VIN.Pattern, o.VIN.Pattern)
}

func disjoint(a, b []string) bool {
	return len(a) > 0 && len(b) > 0 && !slices.ContainsFunc(a, func(s string) bool { return slices.Contains(b, s) })
}

// exclude reports whether no number can follow both patterns.
func exclude(a, b string) bool {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] && a[i] != '*' && b[i] != '*' {
			return true
		}
	}
	return false
}
