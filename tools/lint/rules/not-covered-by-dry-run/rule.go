// Package notcoveredbydryrun holds the rule not-covered-by-dry-run: the dry run leaves something out.
package notcoveredbydryrun

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "not-covered-by-dry-run",
	Title:     "the dry run leaves something out",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseUncovered)),
}
