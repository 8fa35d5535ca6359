// Package newwashernotrenewed reports: record asks for a new piece and does not renew it.
package newwashernotrenewed

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "new-washer-not-renewed",
	Title:     "record asks for a new piece and does not renew it",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "FAA AC 43.13-1B", Clause: "chapter 7"}, {Kind: lint.Practice, Note: "copper and bonded washers"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Fitting != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Reuse.Rule == "replace" || f.Reuse.Rule == "replace-if-loosened" || len(f.Reuse.Renew) > 0 {
		return
	}
	if specdata.HasWord(f.Fitting.Washers, "new") {
		p.Reportf("/reuse/rule", "fitting asks for %q, but reuse is %s and renews nothing; add renew: [washer], or the order list will lack it", f.Fitting.Washers, f.Reuse.Rule)
	}
}
