// Package sourcesuperseded holds the rule source-superseded: cites a source that another one has replaced.
package sourcesuperseded

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
	Name:      "source-superseded",
	Title:     "cites a source that another one has replaced",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle, specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure).Where(func(r specdata.Record) bool { return specdata.CitationOf(r) != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	cited := specdata.CitationOf(p.Entry.Record).Document
	name := specdata.NewName(specdata.KindSource, cited)
	uses := p.Library.Uses(name)
	// Uses is sorted; a source may be cited by thousands and is replaced by few.
	i, _ := slices.BinarySearch(uses, specdata.NewName(specdata.KindSource, ""))
	for _, u := range uses[i:] {
		if u.Kind() != specdata.KindSource {
			return
		}
		s := library.Source(p.Library, u.ID())
		if s == nil || s.ID == cited || !slices.Contains(s.Supersedes, cited) || !concerns(s, p.Entry.Record) {
			continue
		}
		p.Report(lint.Problem{
			At:      "/source/document",
			Message: fmt.Sprintf("source %s was replaced by %s of %s; read the value there, then cite that one", cited, s.ID, s.Date),
			Related: []specdata.Related{lint.Related(p.Library.Get(u), "/supersedes", "replaces the cited source")},
		})
	}
}

// concerns reports whether a source is about a vehicle of the record.
func concerns(s *specdata.Source, r specdata.Record) bool {
	if len(s.Concerns) == 0 {
		return true
	}
	if v, ok := r.(*specdata.Vehicle); ok {
		return slices.Contains(s.Concerns, v.ID)
	}
	return slices.ContainsFunc(specdata.AppliesOf(r), func(a specdata.Applies) bool { return slices.Contains(s.Concerns, a.Vehicle) })
}
