// Package sourcedateimpossible holds the rule source-date-impossible: day of issue that cannot be.
package sourcedateimpossible

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
	Name:      "source-date-impossible",
	Title:     "day of issue that cannot be",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindSource),
	Record:    check,
}

// oldest is the year before which nothing was printed about motor vehicles.
const oldest = 1886

func check(p *lint.Pass) {
	s := p.Source()
	issued, latest, err := s.Date.Span()
	if err != nil {
		p.Reportf("/date", "day of issue: %v", err)
		return
	}
	switch {
	case issued.After(p.Date.Add(24 * time.Hour)): // east of here it may already be tomorrow
		p.Reportf("/date", "source was issued on %s, which is after today, %s; correct the day", s.Date, p.Date.Format(time.DateOnly))
	case issued.Year() < oldest:
		p.Report(lint.Problem{At: "/date", Severity: lint.Warning, Message: fmt.Sprintf("source was issued on %s, before there were motor vehicles; correct the year", s.Date)})
	}
	for i, id := range s.Supersedes {
		o := library.Source(p.Library, id)
		if o == nil || o.ID == s.ID {
			continue
		}
		if earlier, _, err := o.Date.Span(); err == nil && latest.Before(earlier) {
			p.Report(lint.Problem{
				At:      specdata.At("/supersedes", i, ""),
				Message: fmt.Sprintf("source of %s replaces %s, which is of %s and so later; correct one of the dates, or swap the two", s.Date, id, o.Date),
				Related: []specdata.Related{lint.Related(p.Library.Get(o.Name()), "/date", "the later date")},
			})
		}
	}
}
