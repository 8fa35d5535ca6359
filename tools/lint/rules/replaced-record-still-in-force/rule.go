// Package replacedrecordstillinforce holds the rule replaced-record-still-in-force: record that was replaced is still in force.
package replacedrecordstillinforce

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "replaced-record-still-in-force",
	Title:     "record that was replaced is still in force",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Record,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.Kinds...).Where(func(r specdata.Record) bool { return r.Header().Replaces != "" }),
	Record:    check,
}

func check(p *lint.Pass) {
	h := p.Entry.Record.Header()
	e := p.Library.Get(specdata.NewName(h.Kind, h.Replaces))
	if e == nil || h.Replaces == h.ID {
		return
	}
	p.Report(lint.Problem{
		At:      "/replaces",
		Message: "record replaces " + h.Replaces + ", which is still in force; withdraw that record in the same change, or leave replaces out if both hold",
		Related: []specdata.Related{lint.Related(e, "", "the record that was replaced")},
	})
}
