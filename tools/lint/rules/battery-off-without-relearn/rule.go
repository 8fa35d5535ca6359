// Package batteryoffwithoutrelearn reports: the battery was off and nothing is taught or set again.
package batteryoffwithoutrelearn

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
	Name:      "battery-off-without-relearn",
	Title:     "the battery was off and nothing is taught or set again",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, o := range p.DryRun().Outcomes {
		var back *dryrun.Act
		for _, a := range o.Acts {
			switch {
			case a.Do == specdata.Relearn || a.Do == specdata.Reset, specdata.HasWord(a.Note+"; "+a.Step.Text, "memory", "clock", "relearn", "teach", "initialise", "initialize"):
				back = nil // said or done at the restore or after it
			case a.Do == specdata.Restore && a.Target == "electrics:battery":
				back = a
			}
		}
		if back != nil {
			p.Reportf(back.Pointer(), "%s: after it nothing is taught or set again; add {do: relearn, target: place:…} for clock, windows and steering angle, or say that a memory saver was used", back.Where())
			return
		}
	}
}
