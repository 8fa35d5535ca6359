// Package fluidnotthecircuits holds the rule fluid-not-the-circuits: a circuit is filled with another fluid than its own.
package fluidnotthecircuits

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "fluid-not-the-circuits",
	Title:     "a circuit is filled with another fluid than its own",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	circuits := map[string]*specdata.Circuit{}
	for _, id := range r.Assemblies {
		if a := library.Assembly(p.Library, id); a != nil {
			for i := range a.Circuits {
				circuits[a.Circuits[i].ID] = &a.Circuits[i]
			}
		}
	}
	for _, w := range p.Operations() {
		typ, id := w.Target.Split()
		c := circuits[id]
		if w.Do != specdata.Fill || typ != "circuit" || c == nil {
			continue
		}
		for i := range r.Consumables {
			if u := &r.Consumables[i]; u.ID == w.With {
				judge(p, w.At, c, u)
			}
		}
	}
}

func judge(p *lint.Pass, at string, c *specdata.Circuit, u *specdata.Consumable) {
	switch {
	case u.Fluid != "" && u.Fluid != c.Fluid:
		p.Reportf(at, "circuit %s holds %s and is filled with %s, which is %s; name the consumable that is %s", c.ID, c.Fluid, u.ID, u.Fluid, c.Fluid)
	case u.Specification != "" && c.Specification != "" && !specdata.SameWords(u.Specification, c.Specification):
		p.Reportf(at, "circuit %s wants %s and is filled with %s, which is %s; name the right grade", c.ID, c.Specification, u.ID, u.Specification)
	case !u.Amount.IsZero() && u.Amount.Dimension() == c.Capacity.Dimension() && u.Amount.SI() < c.Capacity.SI()/2:
		p.Reportf(at, "circuit %s holds %s and the set-up lists %s of %s; list what it holds", c.ID, specdata.Display(c.Capacity), specdata.Display(u.Amount), u.ID)
	}
}
