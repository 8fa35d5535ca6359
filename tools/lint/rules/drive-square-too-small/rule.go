// Package drivesquaretoosmall reports: the drive square is too small for the torque.
package drivesquaretoosmall

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
	Name:      "drive-square-too-small",
	Title:     "the drive square is too small for the torque",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 6789", Edition: "2003"}, {Kind: lint.Standard, Document: "ISO 3315", FromMemory: true}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for _, u := range p.Tightenings() {
		torque := highest(u.Fastener, u.Stages)
		if torque.IsZero() {
			continue
		}
		if t := r.ToolOf(u.Act.Tool); t != nil && t.Kind == "torque-wrench" && !t.Square.IsZero() {
			if s, ok := joint.SquareNamed(t.Square.String()); ok && !multiplied(r, u.Act.Through) && torque.SI() > s.ToolMax {
				p.Reportf(u.Act.Pointer()+"/tool", "square %s of %s is too small for %s%s", s.Name, t.Title, lint.Torque(torque), need(torque))
				continue
			}
		}
		var small *specdata.Tool
		fits := false
		for i := range r.Tools {
			t := &r.Tools[i]
			if !lint.Fits(t.Size, lint.Turned(u.Fastener)) {
				continue
			}
			if s, ok := joint.SquareNamed(t.Square.String()); ok && torque.SI() > s.Test {
				small = t
			} else {
				fits = true
			}
		}
		if small != nil && !fits {
			p.Reportf(u.Act.Pointer(), "%s has a square of %s, too small for %s%s", small.Title, small.Square, lint.Torque(torque), need(torque))
		}
	}
}

// multiplied reports whether a multiplier lies between the wrench and the fastener, so
// that the wrench gets less.
func multiplied(r *specdata.Procedure, id string) bool {
	t := r.ToolOf(id)
	return t != nil && t.Kind == "multiplier"
}

func need(torque specdata.Quantity) string {
	s, ok := joint.SquareFor(torque.SI())
	if !ok {
		return "; no square of the series carries it"
	}
	return "; it wants " + s.Name
}

func highest(f *specdata.Fastener, stages []int) specdata.Quantity {
	var q specdata.Quantity
	for _, i := range stages {
		s := &f.Tightening.Stages[i]
		for _, t := range []specdata.Quantity{s.Torque, s.UpTo} {
			if !t.IsZero() && (q.IsZero() || t.SI() > q.SI()) {
				q = t
			}
		}
	}
	return q
}
