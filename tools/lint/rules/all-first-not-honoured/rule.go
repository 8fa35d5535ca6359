// Package allfirstnothonoured reports: a bolt goes on to its next stage before all have passed the one before.
package allfirstnothonoured

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "all-first-not-honoured",
	Title:     "a bolt goes on to its next stage before all have passed the one before",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E"}, {Kind: lint.Manual, Document: "US Army TM 5-3805-248-23-1"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.Failed(dryrun.CauseAllFirst)),
}
