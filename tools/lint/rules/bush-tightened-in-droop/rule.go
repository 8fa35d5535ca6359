// Package bushtightenedindroop reports: a joint for ride height is tightened while the suspension hangs.
package bushtightenedindroop

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
	Name:      "bush-tightened-in-droop",
	Title:     "a joint for ride height is tightened while the suspension hangs",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool {
	if f.Cause != dryrun.CauseVehicleState || f.Fastener == nil {
		return false
	}
	s := f.Fastener.Tightening.State
	return s == specdata.StateRideHeight || s == specdata.StateLoaded
}
