// Package buildrangeoutsidevehicle holds the rule build-range-outside-vehicle: build range reaches beyond the vehicle's own.
package buildrangeoutsidevehicle

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "build-range-outside-vehicle",
	Title:     "build range reaches beyond the vehicle's own",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

// An open end means as long as the vehicle was built, so only an end that is
// written can reach beyond. A range wholly outside is the matter of
// applies-to-nothing.
func check(p *lint.Pass) {
	for i, a := range specdata.AppliesOf(p.Entry.Record) {
		v := library.Vehicle(p.Library, a.Vehicle)
		if a.Built.Whole() || v == nil || a.Built.Check() != nil || v.Built.Check() != nil {
			continue
		}
		at := specdata.At("/applies_to", i, "built")
		if !a.Built.Comparable(v.Built) {
			p.NotChecked(at, "the clause counts production numbers and "+v.ID+" dates, or the other way round; they cannot be compared")
			continue
		}
		if !a.Built.Overlaps(v.Built) {
			continue
		}
		for _, end := range [...]struct{ key, point string }{{"from", a.Built.From}, {"to", a.Built.To}} {
			if end.point == "" || v.Built.Overlaps(&specdata.Built{From: end.point, To: end.point}) {
				continue
			}
			p.Report(lint.Problem{
				At:      at + "/" + end.key,
				Message: "build range reaches to " + end.point + ", but " + v.ID + " was built " + v.Built.String() + "; correct the end, or leave it open if the clause holds to the end of the vehicle",
				Related: []specdata.Related{lint.Related(p.Library.Get(v.Name()), "/built", "the vehicle's build range")},
			})
		}
	}
}
