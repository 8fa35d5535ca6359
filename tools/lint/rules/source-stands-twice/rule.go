// Package sourcestandstwice holds the rule source-stands-twice: two records describe one source.
package sourcestandstwice

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
	Name:      "source-stands-twice",
	Title:     "two records describe one source",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindSource),
	Record:    check,
}

// Reported on both records, each pointing at the other.
func check(p *lint.Pass) {
	s := p.Source()
	for _, e := range p.Duplicates() {
		o, ok := e.Record.(*specdata.Source)
		if !ok || o.Date != s.Date && s.Edition == "" ||
			!specdata.SameWords(o.Issuer, s.Issuer) || !specdata.SameWords(o.Edition, s.Edition) || apart(s, o) {
			continue
		}
		p.Report(lint.Problem{
			At:      "/title",
			Message: fmt.Sprintf("source stands twice: %s is also %q of %s; cite one of the two and withdraw the other", o.ID, o.Title, o.Issuer),
			Related: []specdata.Related{lint.Related(e, "/title", "the other record")},
		})
	}
}

// apart reports whether the two concern different vehicles: many titles are general.
func apart(s, o *specdata.Source) bool {
	return len(s.Concerns) > 0 && len(o.Concerns) > 0 && !slices.ContainsFunc(s.Concerns, func(id string) bool { return slices.Contains(o.Concerns, id) })
}
