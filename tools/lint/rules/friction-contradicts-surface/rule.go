// Package frictioncontradictssurface finds friction bands that belong to another surface than the one named.
package frictioncontradictssurface

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "friction-contradicts-surface",
	Title:     "friction band or product does not belong to the stated surface",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Clause: "table A5"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Surface != nil && f.Thread != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	s := p.Fastener().Surface
	if s.Condition == "dry" && s.Product != "" {
		p.Reportf("/surface/product", "product %q is applied to a surface that is called dry; name the condition it makes (oiled, greased, threadlock, compound), or remove the product", s.Product)
	}
	if s.Friction == "" {
		return
	}
	own, err := joint.ParseBand(s.Friction)
	if err != nil {
		p.Reportf("/surface/friction", "%v", err)
		return
	}
	usual, err := joint.SurfaceBand(s.Condition, p.Verdict().Input.Bolt.Family)
	if err != nil {
		return // the schema names the conditions
	}
	// A lubricant that is better than usual and a dry surface that is rougher are
	// no contradiction; the other way round is.
	const slack = 0.01
	way := ""
	switch s.Condition {
	case "oiled", "greased", "compound":
		if own.Low > usual.High+slack {
			way = "above"
		}
	case "dry":
		if own.High < usual.Low-slack {
			way = "below"
		}
	default:
		return
	}
	if way != "" {
		p.Reportf("/surface/friction", "friction %s lies %s what a surface called %s has (%s, %s); the torque was made for another surface: correct the condition or the band",
			s.Friction, way, s.Condition, usual, usual.From)
	}
}
