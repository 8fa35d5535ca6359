// Package torquetoolowtoclamp finds torques that leave a clamp joint loose.
package torquetoolowtoclamp

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
	Name:     "torque-too-low-to-clamp",
	Title:    "torque is too low to clamp the joint",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Practice, Note: "shares of the proof load of ISO 898-1"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		switch f.Joint {
		case specdata.JointClamp, specdata.JointWheel, specdata.JointPinch, specdata.JointFriction, specdata.JointTension:
			// A left-hand nut of a fan or pulley is drawn tight by what it drives.
			selfTightening := f.Thread != nil && f.Thread.Hand == "left" && specdata.HasWord(f.Title, "fan", "pulley")
			return f.Thread != nil && f.Thread.Into != "plastic" && !selfTightening
		}
		return false
	}),
	Record: check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	f := p.Fastener()
	class := v.Class
	if f.Joint != specdata.JointClamp && f.Joint != specdata.JointWheel {
		class = other(v)
	}
	if class != joint.Slack && class != joint.Low {
		p.Unjudged(joint.CheckClamp)
		return
	}
	if class == joint.Low && quiet(f) {
		return
	}
	i, stage := f.Tightening.FinalTorque()
	q := stage.Torque
	pr := lint.Problem{At: lint.StageAt(i, "torque"), Arithmetic: lint.Arithmetic(v)}
	share := joint.SlackShare
	if class == joint.Low {
		pr.Severity, share = lint.Advice, joint.LowShare
	}
	in := &v.Input
	mu := joint.Mu{Thread: in.ThreadBand.Low, Head: in.HeadBand.Low}
	low := joint.Torque(in.Thread, in.Bearing, mu, joint.LowShare*v.Against.ProofOrYield()*in.Thread.StressArea())
	pr.Message = fmt.Sprintf("torque %s hardly clamps %s (%s): under %.0f %% of its proof load even at the lowest friction, µ %s; usual is %s to %s; check digits and unit, or the joint kind if it need not clamp%s",
		lint.Torque(q), in.Thread, v.Against.Name, 100*share, mu, lint.NewtonMetres(low), lint.NewtonMetres(v.Usual()), lint.Readings(v, q))
	p.Report(pr)
}

// other judges the kinds that clamp by their work but may do with little: only
// what holds nothing is spoken of, and an angle brings its own clamp.
func other(v *joint.Verdict) joint.Class {
	in := &v.Input
	if in.Bolt.IsZero() || in.Angle > 0 || in.Torque <= 0 || v.ProofHigh*in.Final/in.Torque >= joint.SlackShare {
		return v.Class
	}
	return joint.Slack
}

// quiet says that something else than the bolt sets a low torque: a lock that
// keeps the fastener without clamp, or a soft thread.
func quiet(f *specdata.Fastener) bool {
	switch f.Thread.Into {
	case "aluminium", "magnesium", "brass", "plastic", "insert":
		return true
	}
	return f.Lock != nil
}
