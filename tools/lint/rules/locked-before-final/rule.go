// Package lockedbeforefinal reports: a fastener is locked before it has its final value.
package lockedbeforefinal

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
	Name:      "locked-before-final",
	Title:     "a fastener is locked before it has its final value",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool {
	return f.Cause == dryrun.CauseNotFinal && f.Act.Do == specdata.LockVerb
}
