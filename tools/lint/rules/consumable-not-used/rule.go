// Package consumablenotused reports: the set-up lists a product that no step uses.
package consumablenotused

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "consumable-not-used",
	Title:     "the set-up lists a product that no step uses",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-40051-2"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for i, c := range r.Consumables {
		if !used(p, c) {
			p.Reportf(specdata.At("/consumables", i, ""), "%s is listed and no step uses it; name it in with where it is used, or take it out", c.Title)
		}
	}
}

func used(p *lint.Pass, c specdata.Consumable) bool {
	words := strings.Fields(strings.ToLower(c.Title))
	last := strings.Trim(words[len(words)-1], ".,;()")
	for _, w := range p.Operations() {
		if w.With == c.ID || specdata.SameWords(w.With, c.Title) || specdata.HasWord(w.Step.Text, last) || specdata.HasWord(w.Note, last) {
			return true
		}
	}
	return false
}
