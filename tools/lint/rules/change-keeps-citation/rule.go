// Package changekeepscitation holds the rule change-keeps-citation: value changes and its citation does not.
package changekeepscitation

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-keeps-citation",
	Title:     "value changes and its citation does not",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || is.Source == nil || was.Source == nil || was.Tightening.SameValues(is.Tightening) || reread(was.Source, is.Source) || borneOut(was, is) {
		return
	}
	p.Reportf("/source", "value changes from %s to %s, and the citation is still of what was read on %s; read the source again, and give the place, the number as printed and the day",
		was.Tightening, is.Tightening, is.Source.ReadOn)
}

// reread reports whether anything of the citation shows that the source was read again.
func reread(a, b *specdata.Citation) bool {
	return a.Document != b.Document || a.At != b.At || a.Quote != b.Quote || a.ReadOn != b.ReadOn
}

// borneOut reports whether the quote that was there already states every torque and
// angle that is new: the change then mends a slip of the hand.
func borneOut(was, is *specdata.Fastener) bool {
	mentions := specdata.Mentions(is.Source.Quote)
	states := func(q specdata.Quantity) bool {
		for _, m := range mentions {
			if m.Quantity.Agree(q) {
				return true
			}
		}
		return false
	}
	for i, s := range is.Tightening.Values() {
		if i < len(was.Tightening.Stages) && s.Torque.Agree(was.Tightening.Stages[i].Torque) && s.Angle.Agree(was.Tightening.Stages[i].Angle) && s.UpTo.Agree(was.Tightening.Stages[i].UpTo) &&
			s.Rolling.Agree(was.Tightening.Stages[i].Rolling) && s.RollingTo.Agree(was.Tightening.Stages[i].RollingTo) {
			continue
		}
		for _, q := range []specdata.Quantity{s.Torque, s.UpTo, s.Angle, s.Rolling, s.RollingTo} {
			if !q.IsZero() && !states(q) {
				return false
			}
		}
	}
	return len(mentions) > 0
}
