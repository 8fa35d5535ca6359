// Package checkedbyenterer holds the rule checked-by-enterer: value that no second person has read back.
package checkedbyenterer

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "checked-by-enterer",
	Title:     "value that no second person has read back",
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
	if c.CheckedBy != "" {
		if specdata.SameWords(c.EnteredBy, c.CheckedBy) {
			p.Reportf("/source/checked_by", "value was entered and checked by one person, %s; another person reads it back against the source", c.EnteredBy)
		}
		return
	}
	if f, ok := p.Entry.Record.(*specdata.Fastener); ok && f.Safety != "" {
		p.Report(lint.Problem{At: "/source", Severity: lint.Warning, Message: fmt.Sprintf(
			"value of a safety joint (%s) was entered by %s and checked by nobody; another person reads it back against the source, and is named in checked_by", f.Safety, c.EnteredBy)})
	}
}
