// Package productnotnamed finds lubricants and compounds that are not named.
package productnotnamed

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "product-not-named",
	Title:     "grease or compound is not named",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "NASA-STD-5020", Note: "preload scatter"}, lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Surface != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	s := p.Fastener().Surface
	if s.Product != "" {
		return
	}
	switch s.Condition {
	case "greased", "threadlock", "compound":
		p.Reportf("/surface/condition", "surface is %s, but with what is not said; greases and compounds differ by half in friction: add surface.product", s.Condition)
	}
}
