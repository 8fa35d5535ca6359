// Package measuredwithwrongtool reports: a measurement names a tool that cannot measure.
package measuredwithwrongtool

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
	Name:      "measured-with-wrong-tool",
	Title:     "a measurement names a tool that cannot measure",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Do != specdata.Measure || w.Listed == nil || !slices.Contains(cannot, w.Listed.Kind) {
			continue
		}
		p.Reportf(w.At+"/tool", "%s is measured with %s, a tool of kind %s that measures nothing; name the gauge", w.Target, w.Tool, w.Listed.Kind)
	}
}

// cannot are the kinds of tool that measure nothing. A torque wrench measures a drag,
// and what kind hand is only its title says.
var cannot = []string{"socket", "spanner", "bit", "hex-key", "puller", "press", "jack", "stand", "chock", "holder", "impact"}
