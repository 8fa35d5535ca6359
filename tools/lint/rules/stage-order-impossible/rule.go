// Package stageorderimpossible finds sequences of stages that cannot be carried out.
package stageorderimpossible

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
	Name:      "stage-order-impossible",
	Title:     "stages stand in an order that cannot be carried out",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E", Note: "torque always before angle"}, lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	stages := f.Tightening.Stages
	snug, ever := false, false // something to count from, now and at any time
	say := func(i int, field string, severity specdata.Severity, format string, args ...any) {
		p.Report(lint.Problem{At: lint.StageAt(i, field), Severity: severity, Message: fmt.Sprintf(format, args...)})
	}
	for i := range stages {
		switch s := &stages[i]; {
		case !s.Torque.IsZero() || s.Seat != "":
			snug, ever = true, true
		case !s.Angle.IsZero():
			if !ever {
				say(i, "angle", lint.Error, "angle %s counts from nothing: no torque or seating comes before it; the first stage was lost, add it", specdata.Display(s.Angle))
			} else if !snug && f.Joint != specdata.JointBearing {
				say(i, "angle", lint.Warning, "angle %s follows a slackening, so it counts from nothing; add the torque it starts from", specdata.Display(s.Angle))
			}
			snug, ever = true, true
		case s.Slacken:
			if !snug {
				say(i, "slacken", lint.Warning, "stage %d slackens what nothing has tightened; a stage before it was lost, or it is surplus", i+1)
			}
			snug = false
		case !s.Wait.IsZero():
			if i == 0 || i == len(stages)-1 {
				say(i, "wait", lint.Warning, "stage %d waits %s with nothing to do %s it; a stage was lost, or it is surplus", i+1, specdata.Display(s.Wait), end(i))
			}
		}
	}
	// A bearing may be set by backing off; anything else would be left loose.
	if last := len(stages) - 1; stages[last].Slacken && f.Joint != specdata.JointBearing {
		say(last, "slacken", lint.Error, "stage %d leaves the fastener slack; the stages after it were lost, add them", last+1)
	}
}

func end(i int) string {
	if i == 0 {
		return "before"
	}
	return "after"
}
