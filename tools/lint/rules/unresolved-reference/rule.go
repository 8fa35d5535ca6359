// Package unresolvedreference holds the rule unresolved-reference: names a record that does not exist.
package unresolvedreference

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
	Name:      "unresolved-reference",
	Title:     "names a record that does not exist",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Record,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.Kinds...),
	NoWaiver:  true,
	Record:    check,
}

// suggestions bounds the suggestions for one record: each compares the name with
// every id of its kind.
const suggestions = 3

// A replaced record is withdrawn and rightly absent, so /replaces is left out.
func check(p *lint.Pass) {
	missing := 0
	for _, ref := range specdata.References(p.Entry.Record) {
		if ref.Pointer == "/replaces" || p.Library.Get(ref.Name) != nil {
			continue
		}
		kind, hint := ref.Name.Kind(), ""
		if missing++; missing <= suggestions {
			hint = specdata.DidYouMean(ref.Name.ID(), library.IDs(p.Library, kind))
		}
		p.Reportf(ref.Pointer, "%s %q does not exist%s; name a record that is in force, or add it first", kind, ref.Name.ID(), hint)
	}
}
