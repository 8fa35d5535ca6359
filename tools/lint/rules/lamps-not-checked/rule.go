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
	Source:    "49 CFR 570; common practice",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.LeftOpen(dryrun.DebtLamp)),
}
