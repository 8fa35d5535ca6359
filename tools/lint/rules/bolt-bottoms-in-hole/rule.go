// Package boltbottomsinhole finds bolts that are too long for their hole.
package boltbottomsinhole

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
	Name:      "bolt-bottoms-in-hole",
	Title:     "the bolt reaches the end of its hole before it clamps",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil && !f.Thread.Hole.IsZero() }),
	Record:    check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	t := p.Fastener().Thread
	if t.Into == "nut" {
		p.Reportf("/thread/hole", "hole is the depth of a blind hole, and the thread goes into a nut; correct into, or take hole away")
		return
	}
	if e := t.Engagement; !e.IsZero() && e.SI() > t.Hole.SI()+0.0005 {
		p.Reportf("/thread/engagement", "engagement %s is more than the depth of thread, %s; one of the two is wrong", specdata.Display(e), specdata.Display(t.Hole))
		return
	}
	if !v.BottomChecked {
		p.Unjudged(joint.CheckLength)
		return
	}
	reach := fmt.Sprintf("%.3g mm", 1e3*(v.Input.Length-v.Input.Grip))
	switch {
	case v.Bottom < 0:
		p.Report(lint.Problem{At: "/thread/length", Arithmetic: lint.Arithmetic(v), Message: fmt.Sprintf("bolt of %s reaches %s into a thread of %s: it bottoms, the torque is reached and nothing is clamped; measure bolt, grip and hole, or fit a shorter bolt",
			specdata.Display(t.Length), reach, specdata.Display(t.Hole))})
	case v.Bottom < 0.75*v.Input.Thread.Pitch:
		p.Report(lint.Problem{At: "/thread/length", Severity: lint.Warning, Arithmetic: lint.Arithmetic(v), Message: fmt.Sprintf("bolt of %s reaches %s into a thread of %s, which leaves under one turn; dirt in the hole or a missing washer makes it bottom",
			specdata.Display(t.Length), reach, specdata.Display(t.Hole))})
	}
}
