// Package livewhenopened reports: a live connection is undone, or its terminal loosened.
package livewhenopened

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
	Name:      "live-when-opened",
	Title:     "a live connection is undone, or its terminal loosened",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool { return f.Cause == dryrun.CauseLive && f.Act.Do != specdata.Restore }
