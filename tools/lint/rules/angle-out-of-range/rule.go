// Package angleoutofrange finds angles nobody turns.
package angleoutofrange

import (
	_ "embed"
	"math"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "angle-out-of-range",
	Title:     "angle is far from what is turned",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice, {Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E", Note: "165° in all"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

// least and most are what is turned in all, in degrees, on a joint that clamps.
const (
	least = 15
	most  = 360
)

func check(p *lint.Pass) {
	f := p.Fastener()
	sum, last := 0.0, -1
	for i := range f.Tightening.Stages {
		switch s := &f.Tightening.Stages[i]; {
		case s.Slacken:
			sum, last = 0, -1
		case !s.Angle.IsZero():
			sum, last = sum+s.Angle.SI()*180/math.Pi, i
		}
	}
	if last < 0 {
		return
	}
	from, to := float64(least), float64(most)
	switch f.Joint {
	case specdata.JointClamp, specdata.JointWheel, specdata.JointTension, specdata.JointPinch, specdata.JointFriction:
	default:
		from, to = 1, 2*most // filters, plugs and pipes are turned on by their seal
	}
	if sum < from-0.01 || sum > to+0.01 {
		p.Reportf(lint.StageAt(last, "angle"), "angles add up to %.6g°, and a joint like this is turned by %.4g° to %.4g° in all; check digits and unit (a flat of a hexagon is 60°, a quarter turn 90°)", sum, from, to)
	}
}
