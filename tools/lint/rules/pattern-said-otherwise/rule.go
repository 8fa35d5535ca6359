// Package patternsaidotherwise reports: a step says another order than the record.
package patternsaidotherwise

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
	Name:      "pattern-said-otherwise",
	Title:     "a step says another order than the record",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 5-3805-248-23-1", Note: "patterns"}},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var said = lint.MustPhrase(`(?i)\b(?:in an? (?:\w+ )?(cross|star|circle|spiral)|(cross|star|circular|spiral) (?:pattern|order)|(crosswise|crossways|diagonally)|from the (centre|center|middle) out)`)

// families are orders that people say for each other: of five nuts a cross is a star.
var families = map[string]string{
	"cross": "cross", "star": "cross", "crosswise": "cross", "crossways": "cross", "diagonally": "cross",
	"circle": "circle", "circular": "circle", "spiral": "spiral", "centre-out": "centre", "centre": "centre", "center": "centre", "middle": "centre",
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		f := w.Fastener
		if f == nil || !w.Uses(specdata.Tighten, specdata.StageVerb, specdata.Turn) || f.Tightening.Pattern == nil {
			continue
		}
		own := families[f.Tightening.Pattern.Order]
		if own == "" { // a numbered sequence can run in any figure
			continue
		}
		for _, text := range []string{w.Note, w.Step.Text} {
			order := word(said.FindStringSubmatch(text))
			if order == "" {
				continue
			}
			if families[order] != own {
				p.Reportf(w.At, "%s: the step says %s and the record has the order %s; correct the one that is wrong", w.Target, order, f.Tightening.Pattern.Order)
			}
			break // the note is about this act alone, the sentence perhaps about more
		}
	}
}

func word(groups []string) string {
	for i, g := range groups {
		if i > 0 && g != "" {
			return strings.ToLower(g)
		}
	}
	return ""
}
