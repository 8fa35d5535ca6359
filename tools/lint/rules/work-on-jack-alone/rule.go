package workonjackalone

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "work-on-jack-alone",
	Title:     "work at an end that stands on a jack alone",
	Doc:       doc,
	Severity:  lint.Error,
	Source:    "29 CFR 1910.244(a)(2)",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseUnsupported)),
}
