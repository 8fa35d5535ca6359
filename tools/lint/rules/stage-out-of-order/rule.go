// Package stageoutoforder reports: a stage is skipped, out of order or of the wrong kind.
package stageoutoforder

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "stage-out-of-order",
	Title:     "a stage is skipped, out of order or of the wrong kind",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseStage)),
}
