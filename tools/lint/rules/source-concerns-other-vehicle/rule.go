// Package sourceconcernsothervehicle holds the rule source-concerns-other-vehicle: cites a source that speaks of another vehicle.
package sourceconcernsothervehicle

import (
	_ "embed"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "source-concerns-other-vehicle",
	Title:     "cites a source that speaks of another vehicle",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle, specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure).Where(func(r specdata.Record) bool { return specdata.CitationOf(r) != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	c := specdata.CitationOf(p.Entry.Record)
	s := library.Source(p.Library, c.Document)
	if s == nil {
		p.NotChecked("/source/document", "source "+c.Document+" is not in the library")
		return
	}
	if len(s.Concerns) == 0 {
		return
	}
	report := func(vehicle string) {
		p.Report(lint.Problem{
			At:      "/source/document",
			Message: fmt.Sprintf("source %s does not concern %s; cite the document of that vehicle, or add the vehicle to the source if it speaks about it", s.ID, vehicle),
			Related: []specdata.Related{lint.Related(p.Library.Get(s.Name()), "/concerns", "the vehicles it speaks about")},
		})
	}
	if v, ok := p.Entry.Record.(*specdata.Vehicle); ok && !slices.Contains(s.Concerns, v.ID) {
		report(v.ID)
	}
	for _, a := range specdata.AppliesOf(p.Entry.Record) {
		known := p.Library.Get(specdata.NewName(specdata.KindVehicle, a.Vehicle)) != nil
		if known && !slices.Contains(s.Concerns, a.Vehicle) {
			report(a.Vehicle)
			return
		}
	}
}
