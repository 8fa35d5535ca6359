// Package springunderload reports: a spring comes off and nothing takes its load.
package springunderload

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
	Name:      "spring-under-load",
	Title:     "a spring comes off and nothing takes its load",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var spring = lint.MustPhrase(`(?i)\bcoil spring|\bstrut (?:rod|piston) nut|\bpiston rod nut`)

// caged are parts that come off without the compressor or caging bolt that their
// assembly names.
var caged = lint.FromDryRun(func(f lint.Found) bool { return f.Cause == dryrun.CauseAid && f.HoldsSpring() })

func check(p *lint.Pass) {
	caged(p)
	for _, o := range p.DryRun().Outcomes {
		held := 0
		for _, a := range o.Acts {
			switch a.Do {
			case specdata.SetAid, specdata.LoadSuspension:
				held++
			case specdata.Remove, specdata.Slacken:
				if held == 0 && spring.MatchString(p.Thing(a.Target).Title) && !specdata.HasWord(a.Note+"; "+a.With+"; "+a.Step.Text, "compressor", "compressed", "relaxed", "unloaded") {
					p.Reportf(a.Pointer(), "%s takes off what holds a coil spring and nothing has taken its load; add {do: set-aid, target: aid:spring-compressor} before it, or let the spring out on a jack", a.Where())
					return
				}
			}
		}
	}
}
