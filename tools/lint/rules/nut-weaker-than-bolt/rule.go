// Package nutweakerthanbolt finds nuts that strip before their bolt breaks.
package nutweakerthanbolt

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
	Name:      "nut-weaker-than-bolt",
	Title:     "nut is weaker than its bolt",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 898-2"}, {Kind: lint.Standard, Document: "BS 3692", Note: "pairing"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.MetalThreads,
	Record:    check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	n := &v.Nut
	f := p.Fastener()
	if f.Joint == specdata.JointJam {
		return // a jam nut only locks another
	}
	if !n.Checked {
		p.Unjudged(joint.CheckNut)
		return
	}
	if n.Pairs {
		return
	}
	pr := lint.Problem{At: "/strength/nut", Arithmetic: lint.Arithmetic(v)}
	held := fmt.Sprintf("the clamp load of up to %.3g kN passes its proof load of %.3g kN", v.ClampHigh/1e3, n.ProofLoad/1e3)
	if v.ClampHigh > 0 && v.ClampHigh <= n.ProofLoad && !v.Input.Nut.Thin {
		pr.Severity = lint.Warning
		held = fmt.Sprintf("it carries the stated torque (%.3g of %.3g kN) but strips before the bolt breaks", v.ClampHigh/1e3, n.ProofLoad/1e3)
	}
	if v.Input.Nut.Thin {
		held = "a thin nut serves as a jam nut only"
	}
	pr.Message = fmt.Sprintf("nut class %s is too weak for a %s bolt: %s; class %s is the least; correct the class, or the joint kind if it only locks",
		f.Strength.Nut, v.Input.Bolt.Name, held, n.Least.Name)
	p.Report(pr)
}
