// Package notcalibrated holds the rule not-calibrated: a calibration is owed and not done.
package notcalibrated

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "not-calibrated",
	Title:     "a calibration is owed and not done",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(lint.LeftOpen(dryrun.DebtCalibrate)),
}
