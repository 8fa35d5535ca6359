// Package applicabilityoverlaps holds the rule applicability-overlaps: build ranges of one joint run into each other.
package applicabilityoverlaps

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "applicability-overlaps",
	Title:     "build ranges of one joint run into each other",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Record:    check,
}

// Reported on both records, each pointing at the other.
func check(p *lint.Pass) {
	f := p.Fastener()
	for _, c := range p.Clashes() {
		if !c.Split {
			continue
		}
		o := c.Fastener()
		pr := lint.Problem{
			At: specdata.At("/applies_to", c.Clause, "built"),
			Message: fmt.Sprintf("build range %s overlaps %s of %s: for %s one says %s and the other %s; let one end where the other begins",
				f.AppliesTo[c.Clause].Built, o.AppliesTo[c.OtherClause].Built, o.ID, c.Both, f.Tightening, o.Tightening),
			Related: []specdata.Related{lint.Related(c.Other, specdata.At("/applies_to", c.OtherClause, "built"), "the other range")},
		}
		switch {
		case !c.Certain:
			pr.Severity = lint.Warning
			pr.Message = fmt.Sprintf("build ranges cannot be told apart: %s here, %s in %s; one counts dates and the other production numbers, write both in one",
				f.AppliesTo[c.Clause].Built, o.AppliesTo[c.OtherClause].Built, o.ID)
		case c.Alike:
			pr.Severity = lint.Warning
		}
		p.Report(pr)
	}
}
