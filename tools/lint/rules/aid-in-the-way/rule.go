// Package aidintheway reports: a cap or a jack is still in the way.
package aidintheway

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
	Name:      "aid-in-the-way",
	Title:     "a cap or a jack is still in the way",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool {
	return f.Cause == dryrun.CauseAid && f.Act.Do != specdata.Separate && f.Act.Do != specdata.Remove && f.Act.Do != specdata.Slacken
}
