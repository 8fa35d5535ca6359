// Package handtightwithtorque finds hand stages that come too late.
package handtightwithtorque

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hand-tight-with-torque",
	Title:     "running down by hand comes after a torque",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	tight := -1
	stages := p.Fastener().Tightening.Stages
	for i := range stages {
		switch s := &stages[i]; {
		case s.Slacken:
			tight = -1
		case !s.Torque.IsZero() || !s.Angle.IsZero():
			tight = i
		case s.Seat == "hand" && tight >= 0:
			p.Reportf(lint.StageAt(i, "seat"), "stage %d runs the fastener down by hand, but stage %d has tightened it already; put it first, or slacken before it", i+1, tight+1)
		}
	}
}
