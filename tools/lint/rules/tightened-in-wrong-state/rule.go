// Package tightenedinwrongstate reports: a fastener is tightened in another vehicle state than its record says.
package tightenedinwrongstate

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
	Name:      "tightened-in-wrong-state",
	Title:     "a fastener is tightened in another vehicle state than its record says",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

// own leaves wheels, ride height and its measure to rules that say more.
func own(f lint.Found) bool {
	if f.Cause != dryrun.CauseVehicleState || f.Fastener == nil {
		return false
	}
	t := f.Fastener.Tightening
	return t.Needs(specdata.StateOnGround) && f.Fastener.Joint != specdata.JointWheel || t.Needs(specdata.StateDroop)
}
