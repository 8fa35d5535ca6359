// Package actclaimedelsewhere finds sentences that claim a tightening of another step.
package actclaimedelsewhere

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "act-claimed-elsewhere",
	Title:     "a sentence tightens what another step tightens",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Steps {
		t, scope := p.Sentence(i)
		for _, e := range p.Words().Again(t, scope.Acts) {
			other := e.Acts[0]
			if other.Step == i {
				continue
			}
			p.Report(lint.Problem{
				At: specdata.At("/steps", i, "text"),
				Message: "sentence tightens the \"" + t.Said(e.From, e.To) + "\", which no operation of this step does; step \"" + r.Steps[other.Step].ID +
					"\" does: say it there only, or add the act here",
				Related: []specdata.Related{lint.Related(p.Entry, specdata.At("/steps", other.Step, "text"), "tightens it")},
			})
		}
	}
}
