// Package chocksleftinplace holds the rule chocks-left-in-place: chocks are never taken away.
package chocksleftinplace

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "chocks-left-in-place",
	Title:     "chocks are never taken away",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.LeftOpen(dryrun.DebtChocks)),
}
