// Package changemovesapplicability reports: a correction changes what a value applies to.
package changemovesapplicability

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-moves-applicability",
	Title:     "a correction changes what a value applies to",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	if !ok {
		return
	}
	now := clauses(p.Fastener())
	for i, c := range clauses(was) {
		if !slices.Contains(now, c) {
			severity := lint.Warning
			if a, b := was.Source, p.Fastener().Source; a != nil && b != nil && (a.Document != b.Document || a.At != b.At || a.Quote != b.Quote) {
				severity = lint.Advice // the source was read again; the diff shows the clause
			}
			p.Report(lint.Problem{At: "/applies_to", Severity: severity, Message: fmt.Sprintf("clause %d was %s and is so no more; read in the source what the value is for, and say in the reason what changed", i+1, c)})
			return
		}
	}
}

// clauses returns each clause as its document has it.
func clauses(f *specdata.Fastener) []string {
	var all []string
	for _, a := range f.AppliesTo {
		b, err := json.Marshal(a)
		if err != nil {
			continue // a clause that was read can be written
		}
		all = append(all, string(b))
	}
	return all
}
