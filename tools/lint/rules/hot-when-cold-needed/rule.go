// Package hotwhencoldneeded holds the rule hot-when-cold-needed: an act that wants it cold after the engine has run.
package hotwhencoldneeded

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hot-when-cold-needed",
	Title:     "an act that wants it cold after the engine has run",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseHot)),
}
