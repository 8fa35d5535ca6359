// Package partedwithoutitsaid reports: a joint is parted, or a part loosened, without the aid it needs.
package partedwithoutitsaid

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
	Name:      "parted-without-its-aid",
	Title:     "a joint is parted, or a part loosened, without the aid it needs",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

// own leaves what holds a spring to spring-under-load.
func own(f lint.Found) bool {
	return f.Cause == dryrun.CauseAid && (f.Act.Do == specdata.Separate || f.Act.Do == specdata.Remove || f.Act.Do == specdata.Slacken) && !f.HoldsSpring()
}
