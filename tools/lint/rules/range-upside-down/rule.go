// Package rangeupsidedown finds ranges that end below their start.
package rangeupsidedown

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "range-upside-down",
	Title:     "upper end of a range is not above the lower",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	stages := p.Fastener().Tightening.Stages
	for i := range stages {
		s := &stages[i]
		if s.UpTo.IsZero() || s.UpTo.SI() > s.Torque.SI() {
			continue
		}
		p.Reportf(lint.StageAt(i, "up_to"), "range ends at %s, not above its start %s; put the lower end in torque and the upper in up_to, and read both again", lint.Torque(s.UpTo), lint.Torque(s.Torque))
	}
}
