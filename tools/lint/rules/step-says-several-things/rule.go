// Package stepsaysseveralthings reports: the sentence of a step is more than two sentences.
package stepsaysseveralthings

import (
	_ "embed"
	"strings"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "step-says-several-things",
	Title:     "the sentence of a step is more than two sentences",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-2106A(SH)", Clause: "appendix B"}},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for at, s := range p.Steps() {
		if n := sentences(s.Text); n > 2 {
			p.Reportf(at+"/text", "text of step %q is %d sentences; split the step, at most 2 are read", s.ID, n)
		}
	}
}

// sentences counts ends of sentence: a mark at the end, or before a space and a
// capital. A full stop after a single letter or "no" is an abbreviation.
func sentences(text string) int {
	n := 0
	words := strings.Fields(text)
	for i, w := range words {
		bare := strings.TrimRight(w, ".!?")
		if bare == w || len(bare) < 2 || strings.EqualFold(bare, "no") || strings.EqualFold(bare, "approx") {
			continue
		}
		if i+1 == len(words) || words[i+1][0] >= 'A' && words[i+1][0] <= 'Z' {
			n++
		}
	}
	return n
}
