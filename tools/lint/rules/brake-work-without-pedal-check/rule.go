// Package brakeworkwithoutpedalcheck reports: the brake was worked on and nobody presses the pedal.
package brakeworkwithoutpedalcheck

import (
	_ "embed"

	"proofload/specdata"
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
	at, last := "", -1
	for _, u := range p.Tightenings() {
		if u.Final && u.Fastener.Safety == "brake" && moves(u.Fastener) && u.Act.StepIndex > last {
			at, last = u.Act.Pointer(), u.Act.StepIndex
		}
	}
	for _, o := range p.DryRun().Outcomes {
		for _, e := range o.Brakes {
			if e.StepIndex > last {
				at, last = e.Pointer(), e.StepIndex
			}
		}
	}
	if last < 0 {
		return
	}
	for _, a := range p.Acts() {
		if a.StepIndex >= last && (a.Do == specdata.Pump || a.Do == specdata.Check && specdata.HasWord(string(a.Target), "pedal")) {
			return
		}
	}
	p.Reportf(at, "the brake was worked on last in step %d and nothing after it presses the pedal; add {do: pump, target: place:brake-pedal} before the vehicle moves", last+1)
}

// moves reports whether undoing the fastener lets pads, shoes or pistons move; a
// bolt of a pipe bracket does not.
func moves(f *specdata.Fastener) bool {
	return specdata.HasWord(f.Title+" "+f.Place, "caliper", "carrier", "guide", "pad", "shoe", "cylinder", "disc", "drum")
}
