// Package enginerununready holds the rule engine-run-unready: the engine is run with something in it or off it.
package enginerununready

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "engine-run-unready",
	Title:     "the engine is run with something in it or off it",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseEngine)),
}
