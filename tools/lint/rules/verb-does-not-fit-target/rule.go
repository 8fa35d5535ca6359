// Package verbdoesnotfittarget reports: an act is done to a sort of thing it cannot be done to.
package verbdoesnotfittarget

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "verb-does-not-fit-target",
	Title:     "an act is done to a sort of thing it cannot be done to",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseVerb)),
}
