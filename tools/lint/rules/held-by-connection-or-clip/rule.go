// Package heldbyconnectionorclip reports: something comes off while a lead, hose or clip is still on it.
package heldbyconnectionorclip

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "held-by-connection-or-clip",
	Title:     "something comes off while a lead, hose or clip is still on it",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool {
	if f.Cause != dryrun.CauseHeld {
		return false
	}
	typ, _ := f.By.Split()
	return typ == "connection" || typ == "clip"
}
