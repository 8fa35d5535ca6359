// Package changemovesfar finds torques that move further than a respecification does.
package changemovesfar

import (
	_ "embed"
	"fmt"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-moves-far",
	Title:     "a torque moves further than respecifications do",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Change:    check,
}

// rise and fall bound what a maker moves his own value by without changing the joint.
// Common practice, no source: tables and issues of one maker differ by less.
const rise, fall = 1.3, 0.77

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || lint.Respecified(was, is) {
		return
	}
	for _, m := range lint.Moves(was, is) {
		if m.New.Dimension() != specdata.Torque || !strings.HasSuffix(m.At, "/torque") || m.Ratio() <= 0 || m.Ratio() >= fall && m.Ratio() <= rise || p.Mends(was, m) {
			continue
		}
		p.Report(lint.Problem{
			At: m.At,
			Message: fmt.Sprintf("value changes from %s to %s, %.2g times, and nothing of the joint changes with it; makers move a value by less: read number, unit, row and column again",
				lint.Torque(m.Old), lint.Torque(m.New), m.Ratio()),
		})
		return
	}
}
