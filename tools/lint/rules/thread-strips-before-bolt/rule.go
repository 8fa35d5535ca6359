// Package threadstripsbeforebolt finds tapped threads too short for their bolt.
package threadstripsbeforebolt

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
	Name:      "thread-strips-before-bolt",
	Title:     "tapped thread strips before the bolt is loaded",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "FED-STD-H28", Note: "strip areas"}, {Kind: lint.Standard, Document: "VDI 2230", Clause: "section 5.5.5", Edition: "2003"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.LoadedHoles,
	Record:    check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	s := &v.Stripping
	if !s.Checked {
		p.Unjudged(joint.CheckStrip)
		return
	}
	f := p.Fastener()
	pr := lint.Problem{At: "/thread/engagement"}
	say := func(what string) {
		pr.Message = fmt.Sprintf("engagement %s in %s %s; %s needs %.3g to %.3g mm there so that the bolt breaks first; check engagement, material and torque",
			specdata.Display(f.Thread.Engagement), v.Input.Into.Name, what, v.Input.Bolt.Name, 1e3*s.NeededLow, 1e3*s.NeededHigh)
		pr.Arithmetic = lint.Arithmetic(v)
		p.Report(pr)
	}
	switch {
	case s.Strips:
		say(fmt.Sprintf("strips at the stated torque: the clamp load is at least %.3g kN and even strong %s carries %.3g kN", v.ClampLow/1e3, v.Input.Into.Name, min(s.TappedHigh, s.ThreadLoad)/1e3))
	case v.Input.Engagement < s.NeededLow:
		pr.Severity = lint.Warning
		say("strips before the bolt breaks, even in the strongest of its kind")
	case s.MayStrip:
		pr.Severity = lint.Advice
		say(fmt.Sprintf("may strip at the stated torque if friction is low and the material weak: %.3g kN against %.3g kN", v.ClampHigh/1e3, min(s.TappedLow, s.ThreadLoad)/1e3))
	}
}
