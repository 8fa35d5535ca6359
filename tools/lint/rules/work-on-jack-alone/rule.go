// Package workonjackalone reports: work at an end that stands on a jack alone.
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
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "29 CFR part 1910", Clause: "§1910.244(a)(2)"}},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseUnsupported)),
}
