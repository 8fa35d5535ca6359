// Package holdnotstated finds through bolts whose other side nobody holds.
package holdnotstated

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hold-not-stated",
	Title:     "nothing is said to hold the other side",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-365-34-2"}, lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Tightening.Hold != nil || f.Drive.Head == "" || f.Drive.Nut == "" {
		return
	}
	held, drive := "nut", f.Drive.Nut
	if f.Drive.Turn == "nut" {
		held, drive = "head", f.Drive.Head
	}
	p.Reportf("/drive/"+held, "%s has a drive (%s) and may turn along, but nothing is said to hold it; add tightening.hold with what would turn and the tool that holds it", held, drive)
}
