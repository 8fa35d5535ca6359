// Package anglepastyieldreused finds bolts stretched past yield that are marked for reuse.
package anglepastyieldreused

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
	Name:      "angle-past-yield-reused",
	Title:     "bolt is stretched past yield and used again",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Clause: "sections 5.1 and 5.4", Edition: "2003"}, {Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E", Note: "method"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil && f.Reuse.Rule == "reuse" }),
	Record:    check,
}

// softer is how much less than in steel an angle may add where soft parts are
// clamped: aluminium has a third of steel's stiffness, and the clamped parts are
// about a third of the whole spring (common practice).
const softer = 0.6

func check(p *lint.Pass) {
	v := p.Verdict()
	t := &v.Turn
	if !t.Checked {
		p.Unjudged(joint.CheckAngle)
		return
	}
	f := p.Fastener()
	pr := lint.Problem{At: "/reuse/rule", Arithmetic: nil}
	word := ""
	switch {
	case t.Passing == joint.StaysElastic:
		return
	case t.Passing == joint.MayPass:
		word, pr.Severity = "may stretch", lint.Advice
	case t.SnugLow+softer*t.AddedLow <= t.YieldHigh || f.Reuse.Times > 0:
		word, pr.Severity = "stretches", lint.Warning
	default:
		word = "stretches"
	}
	pr.Message = fmt.Sprintf("reuse %q of a bolt that its angle %s past yield: the elastic load would be %.0f to %.0f kN and %s (%s) yields at %.0f to %.0f kN; mark it replace, or measure with a limit",
		f.Reuse.Rule, word, (t.SnugLow+t.AddedLow)/1e3, (t.SnugHigh+t.AddedHigh)/1e3, v.Input.Thread, v.Input.Bolt.Name, t.YieldLow/1e3, t.YieldHigh/1e3)
	pr.Arithmetic = lint.Arithmetic(v)
	p.Report(pr)
}
