// Package lockforgotten reports: a pin, stake, tab or wire is missing at the end.
package lockforgotten

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "lock-forgotten",
	Title:     "a pin, stake, tab or wire is missing at the end",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TB 43-0218"}, {Kind: lint.Guidance, Document: "FAA AC 43.13-1B"}},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.LeftOpen(dryrun.DebtLock)),
}
