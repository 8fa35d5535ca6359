// Package fastenertwice holds the rule fastener-twice: two records stand for one fastener.
package fastenertwice

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
	Name:      "fastener-twice",
	Title:     "two records stand for one fastener",
	Doc:       doc,
	Severity:  lint.Warning,
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
		o := c.Fastener()
		related := []specdata.Related{lint.Related(c.Other, "/title", "the other record")}
		switch {
		case c.Split || c.Declared:
		case c.OtherThread:
			p.Report(lint.Problem{At: "/title", Related: related, Message: fmt.Sprintf(
				"title %q at %s stands for two fasteners, %s here and %s in %s, so a reader cannot tell them apart; name the position in each title",
				f.Title, f.Place, f.Thread.Designation, o.Thread.Designation, o.ID)})
		case c.Alike:
			p.Report(lint.Problem{At: "/title", Related: related, Message: fmt.Sprintf(
				"fastener stands twice: %s answers for the same %s of %s with the same values; withdraw one, or pair them as same-joint if both must stay",
				o.ID, f.Place, c.Both)})
		}
	}
}
