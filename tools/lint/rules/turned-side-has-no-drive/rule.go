// Package turnedsidehasnodrive finds drives that name the side nobody turns.
package turnedsidehasnodrive

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "turned-side-has-no-drive",
	Title:     "side that is turned has no drive",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	d := p.Fastener().Drive
	turned, other, held := d.Head, d.Nut, "nut"
	if d.Turn == "nut" {
		turned, other, held = d.Nut, d.Head, "head"
	}
	switch {
	case turned != "":
	case other != "":
		p.Reportf("/drive/turn", "turn is %s, but only the %s has a drive (%s); correct turn, or add drive.%s with form and size", d.Turn, held, other, d.Turn)
	default:
		p.Report(lint.Problem{At: "/drive", Severity: lint.Warning, Message: "drive names no form and size, so nobody knows which tool to fetch; add drive." + d.Turn + ", like \"hex 18 mm\""})
	}
}
