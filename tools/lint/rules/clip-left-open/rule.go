// Package clipleftopen reports: a clip is still open at the end.
package clipleftopen

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
	Name:      "clip-left-open",
	Title:     "a clip is still open at the end",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "49 CFR part 570", Clause: "§570.10"}, lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRunAt(own),
}

func own(f lint.Found) (specdata.Severity, bool) {
	if f.Cause != dryrun.CauseOpen || f.Entry.Debt != dryrun.DebtClip {
		return "", false
	}
	if specdata.HasWord(f.Title, "hose", "pipe", "lead", "cable", "loom", "wire") {
		return lint.Error, true
	}
	return lint.Warning, true
}
