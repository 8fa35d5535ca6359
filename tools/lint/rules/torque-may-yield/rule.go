// Package torquemayyield finds torques that are right only where friction is high.
package torquemayyield

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "torque-may-yield",
	Title:     "torque yields the bolt unless friction is high",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Edition: "2003", Note: "tightening tables at 90 % of yield"}, {Kind: lint.Standard, Document: "ISO 898-1", Edition: "2013"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.MetalThreads,
	Record:    check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	if v.Class != joint.MayYield {
		return
	}
	t := p.Fastener().Tightening
	i := lint.HighestStage(t)
	q := t.Stages[i].Torque
	if q.SI() <= v.Window.MayYield.Torque {
		return // only the upper end of a range reaches; tolerance-reaches-yield says so
	}
	if q.SI() <= tableEnd(p.Fastener(), v) || lint.NewtonMetres(q.SI()) == lint.NewtonMetres(v.Usual()) {
		return
	}
	p.Report(lint.Problem{
		At: lint.StageAt(i, "torque"),
		Message: fmt.Sprintf("torque %s yields %s (%s) unless friction is high: %.0f %% of yield at µ %s; tables made for this surface end at %s; correct the value, or state the friction band it was made for in surface.friction%s",
			lint.Torque(q), v.Input.Thread, v.Against.Name, 100*v.YieldHigh, v.Window.High.Mu, lint.NewtonMetres(v.Usual()), lint.Readings(v, q)),
		Arithmetic: lint.Arithmetic(v),
	})
}

// general is the friction that published tables of tightening torques are made for
// where they name none, rounding how far their whole N·m lie above what they were
// made from; common practice, no source.
const general, rounding = 0.12, 1.02

// tableEnd is the torque in N·m that a general table gives for the bolt. A record
// that states no friction may have its value from there whatever it says of the
// surface: oil is what such tables are made for. One that states its friction has
// said what it was made for; 0 then.
func tableEnd(f *specdata.Fastener, v *joint.Verdict) float64 {
	if f.Surface != nil && f.Surface.Friction != "" {
		return 0
	}
	in := &v.Input
	return rounding*joint.YieldTorque(in.Thread, in.Bearing, joint.Same(general), joint.TableUtilisation*v.Against.Yield) + in.DragLow
}
