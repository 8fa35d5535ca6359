// Package rideheightunknown reports: the suspension is loaded to a ride height that nobody knows.
package rideheightunknown

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "ride-height-unknown",
	Title:     "the suspension is loaded to a ride height that nobody knows",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool { return f.Cause == dryrun.CauseVehicleState && f.Fastener == nil }
