// Package brakeworkwithoutpedalcheck reports: the brake was worked on and nobody presses the pedal.
package brakeworkwithoutpedalcheck

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "brake-work-without-pedal-check",
	Title:     "the brake was worked on and nobody presses the pedal",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, o := range p.DryRun().Outcomes {
		var last *dryrun.Act
		for _, u := range o.Torques {
			if u.Final && u.Fastener.Safety == "brake" && moves(u.Fastener) && (last == nil || u.Act.Number > last.Number) {
				last = u.Act
			}
		}
		for _, a := range o.Brakes {
			if last == nil || a.Number > last.Number {
				last = a
			}
		}
		pressed := func(a *dryrun.Act) bool {
			// In one step the order of the operations may be that of the sentence.
			return (a.Number > last.Number || a.StepIndex == last.StepIndex) && (a.Do == specdata.Pump || a.Do == specdata.Check && specdata.HasWord(string(a.Target), "pedal"))
		}
		if last != nil && !slices.ContainsFunc(o.Acts, pressed) {
			p.Reportf(last.Pointer(), "the brake was worked on last in %s and nothing after it presses the pedal; add {do: pump, target: place:brake-pedal} before the vehicle moves", last.Where())
			return
		}
	}
}

// moves reports whether undoing the fastener lets pads, shoes or pistons move; a
// bolt of a pipe bracket does not.
func moves(f *specdata.Fastener) bool {
	return specdata.HasWord(f.Title+" "+f.Place, "caliper", "carrier", "guide", "pad", "shoe", "cylinder", "disc", "drum")
}
