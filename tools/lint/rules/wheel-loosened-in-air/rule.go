// Package wheelloosenedinair reports: wheel fasteners are first loosened in the air.
package wheelloosenedinair

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "wheel-loosened-in-air",
	Title:     "wheel fasteners are first loosened in the air",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, a := range p.Acts() {
		if a.Do != specdata.Slacken && a.Do != specdata.Remove || a.From != dryrun.AtFinal || a.End == "" || a.Before.End(a.End).WheelsCarry() || a.Before.End(a.End) == dryrun.OnLift {
			continue
		}
		_, id := a.Target.Split()
		if f := library.Fastener(p.Library, id); f != nil && f.Joint == specdata.JointWheel {
			p.Reportf(a.Pointer(), "%s is loosened for the first time with the %s end %s; add {do: slacken, target: %s} before the raise", a.Target, a.End, a.Before.End(a.End), a.Target)
		}
	}
}
