// Package onepassonaface finds faces whose fasteners are tightened to a high torque in a single pass.
package onepassonaface

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "one-pass-on-a-face",
	Title:    "many fasteners of one face go straight to the final torque",
	Doc:      doc,
	Severity: lint.Advice,
	Cites:    []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 5-3805-248-23-1"}},
	Protects: lint.Method,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Count >= 4 && (f.Joint == specdata.JointClamp || f.Joint == specdata.JointWheel) &&
			f.Tightening != nil && f.Tightening.Pattern != nil
	}),
	Record: check,
}

// above is the torque, in N·m, over which a pass at 70 % comes first (30 lbf·ft).
const above = 41

func check(p *lint.Pass) {
	f := p.Fastener()
	// Without a number of passes the record has not said one.
	if pt := f.Tightening.Pattern; pt.Passes != 1 || pt.Order == "one" {
		return
	}
	var only specdata.Quantity
	at := ""
	for i, s := range f.Tightening.Stages {
		switch {
		case s.Torque.IsZero() && s.Angle.IsZero():
		case at != "" || s.Torque.IsZero():
			return
		default:
			only, at = s.Torque, lint.StageAt(i, "torque")
		}
	}
	if at == "" || only.SI() <= above {
		return
	}
	p.Reportf("/tightening/pattern/passes", "%s goes to %s in one pass over %d fasteners; the first lose load as the last pull the face in: go round at about 70 %% first, and write that stage or passes 2",
		strings.ToLower(f.Title), only, f.Count)
}
