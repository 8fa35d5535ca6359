// Package toolnotinsetup holds the rule tool-not-in-set-up: operation uses a tool that the set-up does not list.
package toolnotinsetup

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "tool-not-in-set-up",
	Title:     "operation uses a tool that the set-up does not list",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Steps {
		for j := range r.Steps[i].Operations {
			op := &r.Steps[i].Operations[j]
			for _, named := range [...]struct{ key, id string }{{"tool", op.Tool}, {"through", op.Through}} {
				if named.id == "" || r.HasTool(named.id) {
					continue
				}
				p.Reportf(specdata.At(specdata.At("/steps", i, "operations"), j, named.key), "tool %q is not in the set-up%s; correct the id, or add the tool to the list", named.id, specdata.DidYouMean(named.id, r.ToolIDs()))
			}
		}
	}
}
