package hangsonitshose

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hangs-on-its-hose",
	Title:     "a part is left to hang by its hose or lead",
	Doc:       doc,
	Severity:  lint.Error,
	Source:    "49 CFR 570.10; common practice",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseHanging)),
}
