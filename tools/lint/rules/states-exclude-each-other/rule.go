// Package statesexcludeeachother finds states that a vehicle cannot be in at once.
package statesexcludeeachother

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "states-exclude-each-other",
	Title:     "the vehicle cannot be in all the states at once",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Tightening != nil && len(f.Tightening.And) > 0 }),
	Record:    check,
}

func check(p *lint.Pass) {
	t := p.Fastener().Tightening
	if t.State == specdata.StateAny {
		p.Reportf("/tightening/state", "state is any, and further states follow; write one of them as state")
		return
	}
	all := append([]specdata.VehicleState{t.State}, t.And...)
	for i, s := range t.And {
		for _, other := range all[:i+1] {
			switch {
			case s == other:
				p.Reportf(specdata.At("/tightening/and", i, ""), "%s stands twice", s)
			case s == specdata.StateAny:
				p.Reportf(specdata.At("/tightening/and", i, ""), "any adds nothing to %s", t.State)
			case (s == specdata.StateDroop) != (other == specdata.StateDroop) && s != specdata.StateCold && other != specdata.StateCold:
				p.Reportf(specdata.At("/tightening/and", i, ""), "a vehicle is not %s and %s at once; take out the wrong one", other, s)
			default:
				continue
			}
			return
		}
	}
}
