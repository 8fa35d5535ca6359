// Package notstartedbyhand reports: a fastener that is out is tightened without being started by hand.
package notstartedbyhand

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "not-started-by-hand",
	Title:     "a fastener that is out is tightened without being started by hand",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

var turning = []specdata.Verb{specdata.Snug, specdata.Tighten, specdata.StageVerb, specdata.Turn}

func own(f lint.Found) bool {
	return f.Cause == dryrun.CauseNotInPlace && slices.Contains(turning, f.Act.Do)
}
