// Package drainedthroughnothing holds the rule drained-through-nothing: a circuit is drained with nothing of it open.
package drainedthroughnothing

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "drained-through-nothing",
	Title:     "a circuit is drained with nothing of it open",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseNoOpening)),
}
