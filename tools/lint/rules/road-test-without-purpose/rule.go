// Package roadtestwithoutpurpose reports: a road test has nothing to feel, hear or check.
package roadtestwithoutpurpose

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "road-test-without-purpose",
	Title:     "a road test has nothing to feel, hear or check",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// bare are the words of a sentence that only says that somebody drives.
var bare = []string{
	"road", "test", "drive", "take", "carry", "out", "do", "perform", "make", "give", "the", "a", "an", "it", "and", "then", "on", "for",
	"short", "vehicle", "car", "van", "truck", "finally", "now",
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Do != specdata.RoadTest || w.Accept != "" || w.Note != "" || len(w.Step.Operations) > 1 || !specdata.OnlyWords(w.Step.Text, bare...) {
			continue
		}
		p.Reportf(w.At, "road test of step %q names nothing to feel, hear or check; say it in the sentence and give it accept", w.Step.ID)
	}
}
