// Package clauserepeats holds the rule clause-repeats: two clauses of one record hold for the same builds.
package clauserepeats

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "clause-repeats",
	Title:     "two clauses of one record hold for the same builds",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	clauses := specdata.AppliesOf(p.Entry.Record)
	for i := range clauses {
		for j := range i {
			if clauses[i].Vehicle != clauses[j].Vehicle || !clauses[i].Overlap(clauses[j]) || !clauses[i].Built.Comparable(clauses[j].Built) {
				continue
			}
			p.Report(lint.Problem{
				At:      specdata.At("/applies_to", i, ""),
				Message: "clause repeats an earlier one: both hold for " + clauses[i].And(clauses[j]).String() + "; make the clauses exclude each other, or merge them",
				Related: []specdata.Related{lint.Related(p.Entry, specdata.At("/applies_to", j, ""), "the earlier clause")},
			})
			break
		}
	}
}
