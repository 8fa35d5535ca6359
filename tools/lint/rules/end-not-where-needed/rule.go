// Package endnotwhereneeded reports: the end of the vehicle is not up, or not down, as the act needs.
package endnotwhereneeded

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
	Name:      "end-not-where-needed",
	Title:     "the end of the vehicle is not up, or not down, as the act needs",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRunAt(own),
}

func own(f lint.Found) (specdata.Severity, bool) {
	if f.Cause != dryrun.CauseEnd || f.Wheel && f.Act.Do == specdata.Remove {
		return "", false
	}
	switch f.Act.Do {
	case specdata.Support, specdata.LoadSuspension, specdata.Align:
		return lint.Error, true
	}
	return lint.Warning, true
}
