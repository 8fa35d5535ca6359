// Package actbeforeitsground reports: an act comes before what it needs is in place.
package actbeforeitsground

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
	Name:      "act-before-its-ground",
	Title:     "an act comes before what it needs is in place",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

// own leaves threads that were not started by hand, and locks, to rules that say more.
func own(f lint.Found) bool {
	switch f.Cause {
	case dryrun.CauseNotInPlace:
		switch f.Act.Do {
		case specdata.Snug, specdata.Tighten, specdata.StageVerb, specdata.Turn:
			return false
		}
		return true
	case dryrun.CauseNotFinal:
		return f.Act.Do != specdata.LockVerb
	}
	return false
}
