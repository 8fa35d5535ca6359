package raisedunsecured

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "raised-unsecured",
	Title:     "the vehicle is raised while it is free to roll",
	Doc:       doc,
	Severity:  lint.Error,
	Source:    "HSE INDG434",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseNotSecured)),
}
