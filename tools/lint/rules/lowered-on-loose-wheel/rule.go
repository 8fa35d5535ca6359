// Package loweredonloosewheel reports: the vehicle is lowered on to a wheel that is off or not run down.
package loweredonloosewheel

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "lowered-on-loose-wheel",
	Title:     "the vehicle is lowered on to a wheel that is off or not run down",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseWheelLoose)),
}
