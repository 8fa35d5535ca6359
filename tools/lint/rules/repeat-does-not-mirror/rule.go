// Package repeatdoesnotmirror reports: a repeat runs steps again on the side they were done on.
package repeatdoesnotmirror

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
	Name:      "repeat-does-not-mirror",
	Title:     "a repeat runs steps again on the side they were done on",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Steps {
		rep := r.Steps[i].Repeat
		if rep == nil {
			continue
		}
		at := specdata.At("/steps", i, "repeat")
		if r.Sides != "both" {
			p.Reportf(at, "repeat in a procedure for sides %q; write sides: both, or do the steps once", r.Sides)
			continue
		}
		from := index(r, rep.From)
		for j := from; from >= 0 && j <= index(r, rep.To) && j < i; j++ {
			s := &r.Steps[j]
			switch {
			case s.Repeat != nil:
				p.Reportf(at, "repeat from %q to %q takes in step %q, which is a repeat itself and is left out; repeat only steps that do something", rep.From, rep.To, s.ID)
			case s.Side == rep.Side || slices.ContainsFunc(s.Operations, func(op specdata.Operation) bool { return op.Side == rep.Side }):
				p.Reportf(at+"/side", "repeat for the %s side takes in step %q, which is on the %s already; repeat for the other side, or take that step out of the range", rep.Side, s.ID, rep.Side)
			default:
				continue
			}
			break
		}
	}
}

func index(r *specdata.Procedure, id string) int {
	return slices.IndexFunc(r.Steps, func(s specdata.Step) bool { return s.ID == id })
}
