// Package signalwordtooweak reports: the signal word says less than the hazard.
package signalwordtooweak

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "signal-word-too-weak",
	Title:     "the signal word says less than the hazard",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ANSI Z535.4", Edition: "2007", Note: "signal words, testdata/reference/signal_words.csv"}},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// ranks orders the signal words as ANSI Z535.4 does; a test holds it to the reference table.
var ranks = map[string]int{"danger": 4, "warning": 3, "caution": 2, "notice": 1}

func check(p *lint.Pass) {
	spoken := map[string]bool{}
	for _, h := range p.Hazards() {
		var best lint.Caution
		for c := range p.Cautions() {
			if c.Step <= h.Act.StepIndex && c.Hazard == h.Name && (best.Caution == nil || ranks[c.Signal] > ranks[best.Signal]) {
				best = c
			}
		}
		if best.Caution != nil && ranks[best.Signal] < ranks[h.Least] {
			spoken[best.At] = true
			p.Reportf(best.At+"/signal", "signal word %s is too weak: %s %s, which wants at least %s", best.Signal, h.Act.Where(), h.Why, h.Least)
		}
	}
	for c := range p.Cautions() {
		switch {
		case spoken[c.At]:
		case ranks[c.Signal] < ranks["warning"] && specdata.HasWord(c.Text, "kill", "death", "die", "fatal", "fatally", "deadly"):
			p.Reportf(c.At+"/signal", "signal word %s is too weak for a text that speaks of death; write warning, or danger where it is certain", c.Signal)
		case c.Signal == "notice" && c.Hazard != "" && c.Hazard != "damage":
			p.Reportf(c.At+"/signal", "signal word notice is for damage alone, and %s can injure; write caution or more", c.Hazard)
		}
	}
}
