// Package onesideonly holds the rule one-side-only: one side has a record and the other has none.
package onesideonly

import (
	_ "embed"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "one-side-only",
	Title:     "one side has a record and the other has none",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(oneSided),
	Record:    check,
}

// oneSided keeps fasteners whose every clause is for the same one side.
func oneSided(f *specdata.Fastener) bool {
	side := f.AppliesTo[0].Side
	return (side == specdata.SideLeft || side == specdata.SideRight) &&
		!slices.ContainsFunc(f.AppliesTo, func(a specdata.Applies) bool { return a.Side != side })
}

var sideWords = []string{"left", "right", "lh", "rh", "l", "r", "hand", "nearside", "offside"}

func check(p *lint.Pass) {
	f := p.Fastener()
	if partnered(p, f) {
		return
	}
	var twin *library.Entry // the other of the pair, which is for the same side
	for _, pair := range f.Pairs {
		if pair.As != "left-right" {
			continue
		}
		o := library.Fastener(p.Library, pair.Fastener)
		if o == nil || !oneSided(o) || o.AppliesTo[0].Side != f.AppliesTo[0].Side {
			return
		}
		twin = p.Library.Get(o.Name())
	}
	if p.Incomplete("/applies_to/0/side", specdata.KindFastener) {
		return
	}
	side, other := f.AppliesTo[0].Side, specdata.SideRight
	if side == other {
		other = specdata.SideLeft
	}
	pr := lint.Problem{
		At:       "/applies_to/0/side",
		Severity: lint.Advice,
		Message:  fmt.Sprintf("fastener is for the %s side only, and no record of this place and title is for the %s; add it, or write each if both sides are alike", side, other),
	}
	if twin != nil {
		pr.Severity = lint.Warning
		pr.Message = fmt.Sprintf("fastener and %s are paired as left and right, and both are for the %s side: the %s has no record; correct side in one of them", twin.Record.Name().ID(), side, other)
		pr.Related = append(pr.Related, lint.Related(twin, "/applies_to/0/side", "the other of the pair, for the same side"))
	}
	for _, name := range p.Library.Uses(p.Entry.Name()) {
		if e := p.Library.Get(name); e != nil {
			if a, ok := e.Record.(*specdata.Assembly); ok && a.Handed {
				pr.Severity = lint.Warning
				pr.Related = append(pr.Related, lint.Related(e, "/handed", "the assembly that it holds is there on either side"))
			}
		}
	}
	p.Report(pr)
}

// partnered reports whether a record of the same place and title, but for words of
// side, is for another side.
func partnered(p *lint.Pass, f *specdata.Fastener) bool {
	for _, e := range library.Duplicates(p.Library, f, sideWords...) {
		for _, a := range e.Record.(*specdata.Fastener).AppliesTo {
			if a.Side != f.AppliesTo[0].Side && a.Side != specdata.SideCentre {
				return true
			}
		}
	}
	return false
}
