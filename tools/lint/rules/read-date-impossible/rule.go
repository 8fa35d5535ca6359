// Package readdateimpossible holds the rule read-date-impossible: day of reading that cannot be.
package readdateimpossible

import (
	_ "embed"
	"fmt"
	"time"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "read-date-impossible",
	Title:     "day of reading that cannot be",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle, specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure).Where(func(r specdata.Record) bool { return specdata.CitationOf(r) != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	c := specdata.CitationOf(p.Entry.Record)
	read, err := c.ReadOn.Time()
	if err != nil {
		p.Reportf("/source/read_on", "day of reading: %v", err)
		return
	}
	// East of here it may already be tomorrow.
	if read.After(p.Date.Add(24 * time.Hour)) {
		p.Reportf("/source/read_on", "source was read on %s, which is after today, %s; give the day somebody read it", c.ReadOn, p.Date.Format(time.DateOnly))
		return
	}
	s := library.Source(p.Library, c.Document)
	if s == nil {
		p.NotChecked("/source/document", "source "+c.Document+" is not in the library")
		return
	}
	if issued, _, err := s.Date.Span(); err == nil && read.Before(issued) {
		p.Report(lint.Problem{
			At:      "/source/read_on",
			Message: fmt.Sprintf("source was read on %s, before it was issued on %s; correct the day, or cite the edition that was read", c.ReadOn, s.Date),
			Related: []specdata.Related{lint.Related(p.Library.Get(s.Name()), "/date", "the day of issue")},
		})
	}
}
