// Package changereusesid holds the rule change-reuses-id: id is used again for something else.
package changereusesid

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-reuses-id",
	Title:     "id is used again for something else",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.Kinds...),
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	if old == nil {
		return
	}
	var what string
	switch is := p.Entry.Record.(type) {
	case *specdata.Vehicle:
		was := old.(*specdata.Vehicle)
		if !specdata.SameWords(was.Make, is.Make) && !specdata.SameWords(was.Model, is.Model) {
			what = was.Make + " " + was.Model + ", and becomes " + is.Make + " " + is.Model
		}
	case *specdata.Source:
		was := old.(*specdata.Source)
		if !specdata.SameWords(was.Issuer, is.Issuer) && !specdata.SameWords(was.Title, is.Title) {
			what = was.Title + " of " + was.Issuer + ", and becomes " + is.Title + " of " + is.Issuer
		}
	case *specdata.Fastener:
		was := old.(*specdata.Fastener)
		if elsewhere(was, is) && was.Place != is.Place && (was.Thread == nil || is.Thread == nil || was.Thread.Designation != is.Thread.Designation) {
			what = was.Title + " at " + was.Place + " of " + was.AppliesTo[0].Vehicle + ", and becomes " + is.Title + " at " + is.Place + " of " + is.AppliesTo[0].Vehicle
		}
	case *specdata.Assembly:
		was := old.(*specdata.Assembly)
		if elsewhere(was, is) && was.Place != is.Place {
			what = was.Place + " of " + was.AppliesTo[0].Vehicle + ", and becomes " + is.Place + " of " + is.AppliesTo[0].Vehicle
		}
	case *specdata.Procedure:
		was := old.(*specdata.Procedure)
		if elsewhere(was, is) && !specdata.SameWords(was.Title, is.Title) && !slices.ContainsFunc(was.Assemblies, func(id string) bool { return slices.Contains(is.Assemblies, id) }) {
			what = was.Title + " on " + was.AppliesTo[0].Vehicle + ", and becomes " + is.Title + " on " + is.AppliesTo[0].Vehicle
		}
	}
	if what != "" {
		p.Reportf("/id", "id %s is used again for something else: it was %s; ids are never reused, so withdraw the record and give the new one an id of its own", p.Entry.Record.Header().ID, what)
	}
}

// elsewhere reports whether two revisions have no vehicle in common.
func elsewhere(was, is specdata.Record) bool {
	return !slices.ContainsFunc(specdata.AppliesOf(was), func(a specdata.Applies) bool {
		return slices.ContainsFunc(specdata.AppliesOf(is), func(b specdata.Applies) bool { return a.Vehicle == b.Vehicle })
	})
}
