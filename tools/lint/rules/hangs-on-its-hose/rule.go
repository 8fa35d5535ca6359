// Package hangsonitshose reports: a part is left to hang by its hose or lead.
package hangsonitshose

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hangs-on-its-hose",
	Title:     "a part is left to hang by its hose or lead",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "49 CFR part 570", Clause: "§570.10"}, lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseHanging)),
}
