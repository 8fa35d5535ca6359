// Package sentenceofanotherstep reports: two steps that do different things have one sentence.
package sentenceofanotherstep

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
	Name:      "sentence-of-another-step",
	Title:     "two steps that do different things have one sentence",
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
	first := map[string]int{}
	for i := range r.Steps {
		s := &r.Steps[i]
		if len(s.Operations) == 0 {
			continue
		}
		j, ok := first[s.Text]
		if !ok {
			first[s.Text] = i
			continue
		}
		if acts(s) != acts(&r.Steps[j]) {
			p.Report(lint.Problem{
				At: specdata.At("/steps", i, "text"), Message: "sentence of step \"" + s.ID + "\" is that of step \"" + r.Steps[j].ID + "\", which does something else; write what this step does",
				Related: []specdata.Related{lint.Related(p.Entry, specdata.At("/steps", j, "text"), "the same sentence")},
			})
		}
	}
}

// acts returns what a step does, whatever the side and the order.
func acts(s *specdata.Step) string {
	var all []string
	for i := range s.Operations {
		all = append(all, string(s.Operations[i].Do)+" "+string(s.Operations[i].Target))
	}
	slices.Sort(all)
	return strings.Join(all, "\n")
}
