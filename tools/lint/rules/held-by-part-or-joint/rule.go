// Package heldbypartorjoint reports: something comes off while a part or a joint is still in the way.
package heldbypartorjoint

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "held-by-part-or-joint",
	Title:     "something comes off while a part or a joint is still in the way",
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
	return typ != "fastener" && typ != "connection" && typ != "clip"
}
