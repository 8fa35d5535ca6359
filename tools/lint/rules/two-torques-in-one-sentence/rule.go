// Package twotorquesinonesentence reports: one sentence gives the values of two fasteners.
package twotorquesinonesentence

import (
	_ "embed"
	"regexp"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "two-torques-in-one-sentence",
	Title:     "one sentence gives the values of two fasteners",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-2106A(SH)", Clause: "appendix B"}},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	torque = lint.MustPhrase(`\{(?:torque|stage):([^}/]*)`)
	// A sentence ends at a mark before a capital, so that "no. 4" does not end one.
	end = regexp.MustCompile(`[.!?]["')]?\s+[A-Z]`)
)

func check(p *lint.Pass) {
	for at, s := range p.Steps() {
		text := s.Text
		if len(torque.FindAllStringSubmatch(text, 2)) < 2 {
			continue // nearly all; telling sentences apart costs more
		}
		for _, sentence := range end.Split(text, -1) {
			first := ""
			for _, m := range torque.FindAllStringSubmatch(sentence, -1) {
				if first == "" {
					first = m[1]
				}
				if m[1] != first {
					p.Reportf(at+"/text", "one sentence of step %q gives the values of %s and %s; give each a step, or at least a sentence, of its own", s.ID, first, m[1])
					break
				}
			}
		}
	}
}
