// Package raisedunsecured reports: the vehicle is raised while it is free to roll.
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
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "UK HSE INDG434"}},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseNotSecured)),
}
