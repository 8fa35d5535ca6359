// Package settlingeatsclamp finds painted short joints that go slack.
package settlingeatsclamp

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
	Name:     "settling-eats-clamp",
	Title:    "paint or a short grip eats the clamp load as the joint settles",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Clause: "table 5.4/1", Note: "from memory"}, lint.CommonPractice},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Thread != nil && (!f.Thread.Grip.IsZero() || f.Clamped != nil && f.Clamped.Painted) && f.Joint == specdata.JointClamp
	}),
	Record: check,
}

// A loss up to allowed is in every joint and in every printed torque; over it something is
// done about it: common practice, no source.
const allowed = 0.4

func check(p *lint.Pass) {
	f, v := p.Fastener(), p.Verdict()
	if f.Lock != nil && f.Clamped != nil && f.Clamped.Of == "plastic" {
		return
	}
	for _, u := range f.FollowUps {
		if u.Check == "recheck-torque" {
			return
		}
	}
	if f.Clamped == nil || !f.Clamped.Painted {
		return // settling of bare faces is in every printed torque
	}
	e := &v.Embedding
	if !e.Checked {
		p.Unjudged(joint.CheckSettle)
		return
	}
	if e.Share < allowed {
		return
	}
	p.Report(lint.Problem{At: "/clamped/painted", Arithmetic: lint.Arithmetic(v), Message: fmt.Sprintf("paint in a joint of %s grip costs up to %.0f %% of the clamp load as it flows; clean the faces to bare metal and say so in surface.cleaning, or add a recheck-torque follow-up",
		specdata.Display(f.Thread.Grip), 100*min(e.Share, 1))})
}
