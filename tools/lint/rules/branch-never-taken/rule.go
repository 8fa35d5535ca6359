// Package branchnevertaken reports: a step is for a variant that the procedure is not for.
package branchnevertaken

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "branch-never-taken",
	Title:     "a step is for a variant that the procedure is not for",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r, outcomes := p.Procedure(), p.DryRun().Outcomes
	if len(outcomes) == 0 {
		p.NotChecked("/applies_to", "the procedure has no variant")
		return
	}
	taken := map[int]bool{}
	for _, o := range outcomes {
		for _, a := range o.Acts {
			taken[a.StepIndex] = true
		}
	}
	for i := range r.Steps {
		if s := &r.Steps[i]; len(s.Where) > 0 && len(s.Operations) > 0 && !taken[i] {
			p.Reportf(specdata.At("/steps", i, "where"), "step %q is never done: no variant that the procedure is for fits its where; correct it, or widen applies_to", s.ID)
		}
	}
}
