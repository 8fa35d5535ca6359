// Package sourcemissing holds the rule source-missing: values without a source.
package sourcemissing

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "source-missing",
	Title:     "values without a source",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle, specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	if specdata.CitationOf(p.Entry.Record) != nil {
		return
	}
	pr := lint.Problem{At: "/source", Severity: lint.Advice}
	what := ""
	switch r := p.Entry.Record.(type) {
	case *specdata.Fastener:
		pr.Severity, what = lint.Error, "values without a source cannot be published"
	case *specdata.Vehicle:
		if !r.MassLaden.IsZero() {
			what = "the laden mass " + specdata.Display(r.MassLaden) + " rests on nothing"
		}
	case *specdata.Assembly:
		what = measured(r)
	case *specdata.Procedure:
		what = limited(r)
	}
	if what != "" {
		pr.Message = "record has no source: " + what + "; cite the document, the place in it, the day it was read and who entered it"
		p.Report(pr)
	}
}

func measured(a *specdata.Assembly) string {
	if a.RideHeight != nil && !a.RideHeight.Value.IsZero() {
		return "the ride height " + specdata.Display(a.RideHeight.Value) + " rests on nothing"
	}
	for i := range a.Circuits {
		if !a.Circuits[i].Capacity.IsZero() {
			return "the capacity " + specdata.Display(a.Circuits[i].Capacity) + " rests on nothing"
		}
	}
	return ""
}

func limited(r *specdata.Procedure) string {
	for i := range r.Steps {
		for j := range r.Steps[i].Operations {
			if op := &r.Steps[i].Operations[j]; !op.Low.IsZero() || !op.High.IsZero() {
				return "the limit of step " + r.Steps[i].ID + " rests on nothing"
			}
		}
	}
	return ""
}
