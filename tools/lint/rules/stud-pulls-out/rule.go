// Package studpullsout finds studs that come out with their nut.
package studpullsout

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
	Name:     "stud-pulls-out",
	Title:    "the stud strips out of its hole before the nut has its torque",
	Doc:      doc,
	Severity: lint.Error,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "FED-STD-H28", Note: "strip areas"}, {Kind: lint.Standard, Document: "VDI 2230", Clause: "section 5.5.5"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Thread != nil && f.Stud != nil && f.Stud.Held == "screwed" && f.Stud.Into != ""
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f, v := p.Fastener(), p.Verdict()
	s := &v.StudEnd
	if !s.Checked {
		p.Unjudged(joint.CheckStrip)
		return
	}
	pr := lint.Problem{At: "/stud/engagement", Arithmetic: lint.Arithmetic(v)}
	needs := fmt.Sprintf("; %s needs %.3g to %.3g mm there so that the stud breaks first; check engagement, material and torque", v.Input.Bolt.Name, 1e3*s.NeededLow, 1e3*s.NeededHigh)
	where := fmt.Sprintf("stud is screwed %s into %s and ", specdata.Display(f.Stud.Engagement), v.Input.StudInto.Name)
	switch {
	case s.Strips:
		pr.Message = where + fmt.Sprintf("strips out at the stated torque: the clamp load is at least %.3g kN and even strong %s carries %.3g kN", v.ClampLow/1e3, v.Input.StudInto.Name, min(s.TappedHigh, s.ThreadLoad)/1e3) + needs
	case s.MayStrip && v.Input.StudEngagement < s.NeededLow:
		pr.Severity = lint.Warning
		pr.Message = where + fmt.Sprintf("may strip out at the stated torque: %.3g kN against %.3g kN in weak %s", v.ClampHigh/1e3, min(s.TappedLow, s.ThreadLoad)/1e3, v.Input.StudInto.Name) + needs
	default:
		return
	}
	p.Report(pr)
}
