// Package fastenerleftloose reports: a fastener is not at its final value at the end.
package fastenerleftloose

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "fastener-left-loose",
	Title:     "a fastener is not at its final value at the end",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "NTSB SIR-92/04"}, lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool {
	return f.Cause == dryrun.CauseOpen && f.Entry.Debt == dryrun.DebtFastener && f.Entry.Is != dryrun.Out
}
