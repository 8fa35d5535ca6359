// Package changeswapsdocumentonly reports: a citation moves to another document and nothing else of it changes.
package changeswapsdocumentonly

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-swaps-document-only",
	Title:     "a citation moves to another document and nothing else of it changes",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || was.Source == nil || is.Source == nil || was.Source.Document == is.Source.Document || was.Source.At != is.Source.At || was.Source.Quote != is.Source.Quote {
		return
	}
	if s := library.Source(p.Library, is.Source.Document); s != nil && slices.Contains(s.Supersedes, was.Source.Document) {
		return
	}
	p.Reportf("/source/document", "citation moves from %s to %s with the same place, %q, and the same quote; read the value there and write what stands there", was.Source.Document, is.Source.Document, is.Source.At)
}
