// Package impactwhereitharms finds joints where an impact tool does harm.
package impactwhereitharms

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "impact-where-it-harms",
	Title:     "impact tool is allowed where it does harm",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "NTSB SIR-92/04", Note: "wheel nuts"}, {Kind: lint.Practice, Note: "bearings, sensors, plastic"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Tightening.Impact != "allowed" {
		return
	}
	what, severity := "", lint.Warning
	switch f.Joint {
	case specdata.JointBearing:
		what = "it dents the races of the bearing"
	case specdata.JointSensor:
		what = "it breaks the sensor"
	case specdata.JointPlastic:
		what = "it cracks the plastic"
	case specdata.JointBanjo, specdata.JointUnion, specdata.JointPlug:
		what = "it tears the seat or the thread"
	case specdata.JointTension:
		what = "it stretches the bolt before the angle is counted"
	case specdata.JointWheel:
		what, severity = "it overshoots, and wheel nuts tightened wrongly are the first cause of lost wheels", lint.Advice
	default:
		small(p, f)
		return
	}
	p.Report(lint.Problem{At: "/tightening/impact", Severity: severity, Message: "impact is allowed on a joint of kind " + string(f.Joint) + ", where " + what + "; write never or removal-only"})
}

// smallest is the torque in N·m below which the first blows of an impact tool are
// past the value before it can be stopped: common practice, no source.
const smallest = 25

// small reports a joint that an impact tool overshoots, or whose stages it cannot count.
func small(p *lint.Pass, f *specdata.Fastener) {
	var largest specdata.Quantity
	for i := range f.Tightening.Stages {
		s := &f.Tightening.Stages[i]
		for _, q := range []specdata.Quantity{s.Torque, s.UpTo} {
			if !q.IsZero() && (largest.IsZero() || q.SI() > largest.SI()) {
				largest = q
			}
		}
		if !s.Angle.IsZero() {
			p.Reportf("/tightening/impact", "impact is allowed where an angle is counted from a torque, which an impact tool has passed unseen; write never or removal-only")
			return
		}
	}
	if largest.Sign() > 0 && largest.SI() < smallest {
		p.Reportf("/tightening/impact", "impact is allowed for a value of %s, which the first blows of such a tool pass; write never or removal-only", specdata.Metric(largest))
	}
}
