// Package putsbackwhatwasneveroff reports: an act puts back what this procedure never took off.
package putsbackwhatwasneveroff

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "puts-back-what-was-never-off",
	Title:     "an act puts back what this procedure never took off",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseNeverUndone)),
}
