// Package jobnotrecorded reports: a safety joint was made and the job is not recorded.
package jobnotrecorded

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "job-not-recorded",
	Title:     "a safety joint was made and the job is not recorded",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	if slices.ContainsFunc(p.Operations(), func(w lint.Written) bool { return w.Do == specdata.RecordJob }) {
		return
	}
	for _, u := range p.Tightenings() {
		if u.Final && u.Fastener.Safety != "" {
			p.Reportf(u.Act.Pointer(), "%s is a safety joint (%s) and no step records the job; add {do: record, target: job:record}", u.Act.Target, u.Fastener.Safety)
			return
		}
	}
}
