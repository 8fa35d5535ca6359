// Package loosenedwhilelocked reports: a fastener is turned against its pin, stake, tab or wire.
package loosenedwhilelocked

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "loosened-while-locked",
	Title:     "a fastener is turned against its pin, stake, tab or wire",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseLocked)),
}
