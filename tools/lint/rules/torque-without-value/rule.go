// Package torquewithoutvalue reports: a step tightens to a value and does not show it.
package torquewithoutvalue

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "torque-without-value",
	Title:     "a step tightens to a value and does not show it",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Fastener == nil || !w.Uses(specdata.Tighten, specdata.StageVerb, specdata.Turn) || !hasValue(w.Fastener) {
			continue
		}
		shows := func(v specdata.Shown) bool { return v.Fastener == w.Fastener.ID }
		if !slices.ContainsFunc(specdata.ValuesShown(w.Step.Text), shows) {
			p.Reportf(w.At, "%s is tightened and the sentence does not show its value; write %s in it", w.Target, placeholder(w))
		}
	}
}

// placeholder is what shows the value that an operation brings a fastener to.
func placeholder(w lint.Written) string {
	if w.Stage > 0 && len(w.Fastener.Tightening.Stages) > 1 {
		return specdata.OneStage(w.Fastener.ID, w.Stage)
	}
	return specdata.WholeSeries(w.Fastener.ID)
}

func hasValue(f *specdata.Fastener) bool {
	return slices.ContainsFunc(f.Tightening.Stages, func(s specdata.Stage) bool { return s.Valued() })
}
