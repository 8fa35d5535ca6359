// Package lampsnotchecked reports: a warning lamp is owed a look and nobody looks.
package lampsnotchecked

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "lamps-not-checked",
	Title:     "a warning lamp is owed a look and nobody looks",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "49 CFR part 570"}, lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.LeftOpen(dryrun.DebtLamp)),
}
