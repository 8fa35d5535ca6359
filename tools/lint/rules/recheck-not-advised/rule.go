// Package rechecknotadvised reports: the customer is not told of the recheck that is due.
package rechecknotadvised

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "recheck-not-advised",
	Title:     "the customer is not told of the recheck that is due",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2330-238-14", Clause: "§4-49"}, {Kind: lint.Manual, Document: "US Army TM 5-2330-378-14&P"}},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.LeftOpen(dryrun.DebtRecheck)),
}
