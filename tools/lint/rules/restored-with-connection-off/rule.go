// Package restoredwithconnectionoff reports: power comes back while a connection that needs it dead is undone or loose.
package restoredwithconnectionoff

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "restored-with-connection-off",
	Title:     "power comes back while a connection that needs it dead is undone or loose",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool { return f.Cause == dryrun.CauseLive && f.Act.Do == specdata.Restore }
