// Package sensorworkwithoutlampcheck reports: a sensor plug or the power was off and nobody looks at the lamps.
package sensorworkwithoutlampcheck

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
	Name:      "sensor-work-without-lamp-check",
	Title:     "a sensor plug or the power was off and nobody looks at the lamps",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "49 CFR part 570", Clause: "§570.5", Note: "brake failure lamp must work"}, lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var sensor = lint.MustPhrase(`(?i)\b(sensor|wear lead|injector|air ?bag|switch|abs)\b`)

func check(p *lint.Pass) {
	for _, o := range p.DryRun().Outcomes {
		last := -1
		for i, a := range o.Acts {
			switch {
			case a.Do == specdata.Restore, a.Do == specdata.Connect && signals(p, a.Target):
				last = i
			}
		}
		if last < 0 || slices.ContainsFunc(o.Acts[last:], looks) {
			continue
		}
		a := o.Acts[last]
		p.Reportf(a.Pointer(), "%s: after it nothing looks at the warning lamps; add {do: check, target: place:warning-lamps} that names the lamp, or the loss of a brake or airbag function is silent", a.Where())
		return
	}
}

func looks(a *dryrun.Act) bool {
	return (a.Do == specdata.Check || a.Do == specdata.Inspect || a.Do == specdata.RoadTest) && specdata.HasWord(string(a.Target)+"; "+a.Accept+"; "+a.Step.Text, "lamp", "light", "telltale", "warning")
}

// signals reports whether a target is a plug that carries a sensor's or an injector's signal.
func signals(p *lint.Pass, t specdata.Target) bool {
	c := p.Thing(t).Connection
	return c != nil && c.Kind == "plug" && (c.Electrics == "airbag" || sensor.MatchString(c.Title))
}
