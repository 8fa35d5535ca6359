// Package wheeloffonground reports: a road wheel comes off while it carries the vehicle.
package wheeloffonground

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
	Name:      "wheel-off-on-ground",
	Title:     "a road wheel comes off while it carries the vehicle",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool {
	return f.Cause == dryrun.CauseEnd && f.Wheel && f.Act.Do == specdata.Remove
}
