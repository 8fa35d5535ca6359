package alignmentmissing

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "alignment-missing",
	Title:     "geometry was disturbed and is not set",
	Doc:       doc,
	Severity:  lint.Error,
	Source:    "TM 9-2320-364-20-5 §14-11",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.LeftOpen(dryrun.DebtAlignment)),
}
