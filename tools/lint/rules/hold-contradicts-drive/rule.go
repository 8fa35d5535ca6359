// Package holdcontradictsdrive reports: what is held is what is turned.
package holdcontradictsdrive

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hold-contradicts-drive",
	Title:     "what is held is what is turned",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(held),
	Record:    check,
}

func held(f *specdata.Fastener) bool {
	return f.Tightening != nil && f.Tightening.Hold != nil && f.Drive != nil
}

func check(p *lint.Pass) {
	f := p.Fastener()
	turns := f.Tightening.Hold.Turns
	switch {
	case f.Drive.Turn == "nut" && specdata.SameWords(turns, "nut", "the"):
	case f.Drive.Turn == "head" && (specdata.HasWord(turns, "head") || specdata.SameWords(turns, "bolt", "the")):
	default:
		return
	}
	p.Reportf("/tightening/hold/turns", "%s is held and drive.turn says that the %s is turned; correct one of the two", turns, f.Drive.Turn)
}
