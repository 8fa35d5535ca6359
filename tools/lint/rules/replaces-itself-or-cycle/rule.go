// Package replacesitselforcycle holds the rule replaces-itself-or-cycle: record replaces itself, straight or in a circle.
package replacesitselforcycle

import (
	_ "embed"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "replaces-itself-or-cycle",
	Title:     "record replaces itself, straight or in a circle",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Record,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.Kinds...).Where(func(r specdata.Record) bool { return r.Header().Replaces != "" }),
	Record:    check,
}

func check(p *lint.Pass) {
	h := p.Entry.Record.Header()
	chain := []string{h.ID}
	for next := h.Replaces; next != ""; {
		if next == h.ID {
			p.Reportf("/replaces", "record replaces itself: %s; name the withdrawn record whose place it takes", strings.Join(append(chain, next), " replaces "))
			return
		}
		e := p.Library.Get(specdata.NewName(h.Kind, next))
		if e == nil || slices.Contains(chain, next) {
			return // withdrawn, or a circle further on that its own records report
		}
		chain, next = append(chain, next), e.Record.Header().Replaces
	}
}
