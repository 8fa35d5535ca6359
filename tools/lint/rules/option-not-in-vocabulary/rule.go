// Package optionnotinvocabulary holds the rule option-not-in-vocabulary: option or value that the vehicle does not have.
package optionnotinvocabulary

import (
	_ "embed"
	"maps"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "option-not-in-vocabulary",
	Title:     "option or value that the vehicle does not have",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	clauses := specdata.AppliesOf(p.Entry.Record)
	for i, a := range clauses {
		if len(a.Where) == 0 {
			continue
		}
		if v := library.Vehicle(p.Library, a.Vehicle); v != nil {
			restriction(p, specdata.At("/applies_to", i, "where"), a.Where, v)
		} else {
			p.NotChecked(specdata.At("/applies_to", i, "vehicle"), "vehicle "+a.Vehicle+" is not in the library")
		}
	}
	_, ok := p.Entry.Record.(*specdata.Procedure)
	if !ok {
		return
	}
	var vehicles []*specdata.Vehicle
	for _, a := range clauses {
		if v := library.Vehicle(p.Library, a.Vehicle); v != nil && !slices.Contains(vehicles, v) {
			vehicles = append(vehicles, v)
		}
	}
	for at, s := range p.Steps() {
		if len(s.Where) > 0 && len(vehicles) > 0 {
			restriction(p, at+"/where", s.Where, vehicles...)
		}
	}
}

// restriction reports keys and values that none of the vehicles has. A step may
// name an option that only one vehicle of several has.
func restriction(p *lint.Pass, at string, where map[string][]string, vehicles ...*specdata.Vehicle) {
	for _, key := range slices.Sorted(maps.Keys(where)) {
		var known, allowed []string
		var owner *specdata.Vehicle
		for _, v := range vehicles {
			known = slices.AppendSeq(known, maps.Keys(v.Options))
			if values, ok := v.Options[key]; ok {
				owner, allowed = v, append(allowed, values...)
			}
		}
		slices.Sort(known)
		if owner == nil {
			p.Reportf(at+"/"+key, "option %q is none of vehicle %s%s; it has %s", key, vehicles[0].ID, specdata.DidYouMean(key, slices.Values(known)), list(slices.Compact(known)))
			continue
		}
		for j, value := range where[key] {
			if slices.Contains(allowed, value) {
				continue
			}
			p.Report(lint.Problem{
				At:      specdata.At(at+"/"+key, j, ""),
				Message: "option " + key + " of " + owner.ID + " is never \"" + value + "\"" + specdata.DidYouMean(value, slices.Values(allowed)) + "; allowed: " + list(allowed) + "; correct the value, or add it to the vehicle",
				Related: []specdata.Related{lint.Related(p.Library.Get(owner.Name()), "/options/"+key, "the values it may take")},
			})
		}
	}
}

func list(words []string) string {
	if len(words) == 0 {
		return "no options"
	}
	return strings.Join(words, ", ")
}
