// Package samejointtwovalues holds the rule same-joint-two-values: two records give one joint two values.
package samejointtwovalues

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
	Name:      "same-joint-two-values",
	Title:     "two records give one joint two values",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Record:    check,
}

// A clash is reported on both records, each pointing at the other, so that it is
// found whichever of them a run is for. What applicability-overlaps and
// fastener-twice say is left to them.
func check(p *lint.Pass) {
	f := p.Fastener()
	for _, c := range p.Clashes() {
		if c.Split || c.Alike || c.OtherThread {
			continue
		}
		o := c.Fastener()
		p.Report(lint.Problem{
			At: "/tightening/stages",
			Message: fmt.Sprintf("value %s disagrees with %s of %s, which answers for the same %s of %s; keep one, or restrict each to the builds or options it is for",
				f.Tightening, o.Tightening, o.ID, f.Place, c.Both),
			Related: []specdata.Related{
				lint.Related(c.Other, "/tightening/stages", "says "+o.Tightening.String()),
				lint.Related(c.Other, specdata.At("/applies_to", c.OtherClause, ""), "applies to the same vehicles"),
			},
		})
	}
}
