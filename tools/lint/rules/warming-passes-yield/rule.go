// Package warmingpassesyield finds bolts that yield when the joint grows warm.
package warmingpassesyield

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
	Name:     "warming-passes-yield",
	Title:    "the joint yields its bolt as it grows warm",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Clause: "R4", Note: "thermal clamp load"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Thread != nil && f.Clamped != nil && !f.Clamped.Rise.IsZero()
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f, v := p.Fastener(), p.Verdict()
	if v.WarmHigh == 0 {
		if f.Clamped.Of == "" {
			p.NotChecked("/clamped", "the clamped material is not stated, so what warming adds is not known")
			return
		}
		p.Unjudged(joint.CheckSettle)
		return
	}
	if v.Input.Angle > 0 || v.Input.Bolt.IsZero() {
		return // such a bolt is made to pass its yield
	}
	yield := v.Input.Bolt.Yield * v.Input.Thread.StressArea()
	hot, lost := v.ClampLow+v.WarmLow, v.ClampHigh+v.WarmHigh
	switch {
	case hot > yield:
		p.Report(lint.Problem{At: "/clamped/rise", Arithmetic: lint.Arithmetic(v), Message: fmt.Sprintf("warming by %s adds %.3g to %.3g kN and takes the bolt past its yield (%.3g kN) even at the highest friction: once cold again it is loose; check torque, material and warming",
			specdata.Display(f.Clamped.Rise), v.WarmLow/1e3, v.WarmHigh/1e3, yield/1e3)})
	case lost < 0:
		p.Report(lint.Problem{At: "/clamped/rise", Arithmetic: lint.Arithmetic(v), Message: fmt.Sprintf("warming by %s takes %.3g kN off, all of the clamp load; check torque, material and warming", specdata.Display(f.Clamped.Rise), -v.WarmLow/1e3)})
	}
}
