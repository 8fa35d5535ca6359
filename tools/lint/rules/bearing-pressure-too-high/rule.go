// Package bearingpressuretoohigh finds heads that sink into what they clamp.
package bearingpressuretoohigh

import (
	_ "embed"
	"fmt"
	"math"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "bearing-pressure-too-high",
	Title:    "the head or nut presses harder than the part under it bears",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Note: "limit surface pressures, as republished"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Thread != nil && (f.Seat != nil && f.Seat.Against != "" || f.Clamped != nil && f.Clamped.Of != "")
	}),
	Record: check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	r := &v.Pressure
	if !r.Checked {
		p.Unjudged(joint.CheckPress)
		return
	}
	if !r.MayBe && !r.Over {
		return
	}
	at := "/seat/against"
	if f := p.Fastener(); f.Seat == nil || f.Seat.Against == "" {
		at = "/clamped/of"
	}
	mpa := func(x float64) float64 { return x / 1e6 }
	pr := lint.Problem{At: at, Arithmetic: lint.Arithmetic(v), Severity: lint.Advice}
	how := fmt.Sprintf("%.0f MPa at the usual friction, and weak %s bears %.0f", mpa(r.Usual), v.Input.On.Name, mpa(r.LimitLow))
	if r.Over {
		pr.Severity = lint.Warning
		how = fmt.Sprintf("at least %.0f MPa, and even strong %s bears %.0f", mpa(r.Low), v.Input.On.Name, mpa(r.LimitHigh))
	}
	need := specdata.MustQuantity(fmt.Sprintf("%.0f mm", 1e3*face(r)))
	pr.Message = fmt.Sprintf("%s presses with %s: the face sinks in and the clamp load goes; a washer or flange of about %s would do, or correct the material or the torque", v.Input.Thread, how, specdata.Display(need))
	p.Report(pr)
}

// face is the outer diameter in m of a face that presses with the lower limit.
func face(r *joint.Pressure) float64 {
	ring := r.Face.Outer*r.Face.Outer - r.Face.Hole*r.Face.Hole
	return math.Ceil(1e3*math.Sqrt(ring*r.Usual/r.LimitLow+r.Face.Hole*r.Face.Hole)) / 1e3
}
