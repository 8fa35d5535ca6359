// Package toleranceoutofrange finds tolerances that cannot belong to the tightening.
package toleranceoutofrange

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "tolerance-out-of-range",
	Title:     "tolerance cannot be one of this tightening",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-362-14&P", Note: "default ±10 %"}, {Kind: lint.Standard, Document: "ISO 6789", Edition: "2003", Note: "±4 % of the tool"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

const widest = 0.30 // common practice

func check(p *lint.Pass) {
	t := p.Fastener().Tightening
	highest := lint.HighestStage(t)
	angle := false
	for i := range t.Stages {
		angle = angle || !t.Stages[i].Angle.IsZero()
	}
	if q := t.AngleTolerance; !q.IsZero() && !angle {
		p.Report(lint.Problem{At: "/tightening/angle_tolerance", Severity: lint.Warning, Message: "angle_tolerance " + specdata.Display(q) + " stands beside stages without an angle; an angle stage was lost, add it, or remove the tolerance"})
	}
	q := t.Tolerance
	if q.IsZero() {
		return
	}
	if highest < 0 {
		p.Report(lint.Problem{At: "/tightening/tolerance", Severity: lint.Warning, Message: "tolerance " + specdata.Display(q) + " stands beside stages without a torque; a torque stage was lost, add it, or remove the tolerance"})
		return
	}
	share := q.SI()
	if q.Dimension() == specdata.Torque {
		share /= t.Stages[highest].Torque.SI()
	}
	switch {
	case share <= 0:
		p.Reportf("/tightening/tolerance", "tolerance %s is none: a wrench alone is ±4 %% (ISO 6789); give the one of the source, or leave it out for the default ±10 %%", specdata.Display(q))
	case share >= 1:
		p.Reportf("/tightening/tolerance", "tolerance %s is as large as the torque %s; check digits and unit", specdata.Display(q), lint.Torque(t.Stages[highest].Torque))
	case share > widest+1e-9:
		p.Report(lint.Problem{At: "/tightening/tolerance", Severity: lint.Warning, Message: "tolerance " + specdata.Display(q) + " is wider than ±30 % of " + lint.Torque(t.Stages[highest].Torque) + "; check digits and unit"})
	}
}
