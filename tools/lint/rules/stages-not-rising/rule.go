// Package stagesnotrising finds torque stages that do not rise.
package stagesnotrising

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "stages-not-rising",
	Title:     "torque of a stage does not rise",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-4320-344-24", Note: "rising steps"}, lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	stages := p.Fastener().Tightening.Stages
	before := -1
	for i := range stages {
		s := &stages[i]
		if s.Slacken || !s.Angle.IsZero() {
			before = -1 // after an angle a torque is a check of its own
			continue
		}
		if s.Torque.IsZero() {
			continue
		}
		switch {
		case s.Torque.Sign() <= 0:
			p.Reportf(lint.StageAt(i, "torque"), "torque %s of stage %d does nothing; read it again, or take the stage away", specdata.Display(s.Torque), i+1)
			continue
		case before >= 0 && s.Torque.SI() < stages[before].Torque.SI():
			p.Report(lint.Problem{
				At: lint.StageAt(i, "torque"),
				Message: fmt.Sprintf("torque %s of stage %d is under the %s of stage %d, where the wrench clicks at once; the order is wrong, or a slackening between them was lost",
					lint.Torque(s.Torque), i+1, lint.Torque(stages[before].Torque), before+1),
			})
		}
		before = i
	}
}
