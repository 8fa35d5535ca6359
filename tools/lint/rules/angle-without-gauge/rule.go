// Package anglewithoutgauge reports: an angle is turned and there is nothing to measure it with.
package anglewithoutgauge

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "angle-without-gauge",
	Title:     "an angle is turned and there is nothing to measure it with",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	gauge := slices.ContainsFunc(p.Procedure().Tools, func(t specdata.Tool) bool { return t.Kind == "angle-gauge" })
	for _, u := range p.Tightenings() {
		if !angle(u.Fastener, u.Stages) {
			continue
		}
		t := p.Procedure().ToolOf(u.Act.Tool)
		switch {
		case u.Act.Do == specdata.Turn && t != nil && t.Kind != "angle-gauge":
			p.Reportf(u.Act.Pointer()+"/tool", "angle of %s is turned with %s, which measures no angle; name the angle gauge", u.Act.Target, t.Title)
		case !gauge:
			p.Reportf(u.Act.Pointer(), "angle of %s is turned and the set-up lists no angle gauge; add one", u.Act.Target)
		}
	}
}

// angle reports whether one of the stages is an angle that starts from a torque;
// one that starts from hand contact is judged by eye.
func angle(f *specdata.Fastener, stages []int) bool {
	for _, i := range stages {
		if !f.Tightening.Stages[i].Angle.IsZero() && slices.ContainsFunc(f.Tightening.Stages[:i], func(s specdata.Stage) bool { return !s.Torque.IsZero() }) {
			return true
		}
	}
	return false
}
