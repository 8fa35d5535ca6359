// Package engagementnotstated finds bolts in soft metal whose engagement nobody wrote down.
package engagementnotstated

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "engagement-not-stated",
	Title:     "length of thread engaged in soft metal is not stated",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Clause: "section 5.5.5", Edition: "2003"}, {Kind: lint.Manual, Document: "US Army TM 5-3895-360-13", Clause: "appendix G", Note: "aluminium"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.LoadedHoles,
	Record:    check,
}

func check(p *lint.Pass) {
	t := p.Fastener().Thread
	if t.Into != "steel" && t.Engagement.IsZero() {
		p.Reportf("/thread/into", "engagement in %s is not stated, so nobody can tell whether the thread strips before the bolt holds; measure it and add thread.engagement", t.Into)
	}
}
