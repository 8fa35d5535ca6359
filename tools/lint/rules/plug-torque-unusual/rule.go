// Package plugtorqueunusual finds torques that plugs do not get.
package plugtorqueunusual

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
	Name:     "plug-torque-unusual",
	Title:    "torque is far from what such a plug gets",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Practice, Note: "a plug maker's table; break torques of glow plugs are common practice"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Joint == specdata.JointSpark || f.Joint == specdata.JointGlow
	}),
	Record: check,
}

// Outside of the table by more than these a value is doubted: makers differ by less.
const under, over = 0.7, 1.3

func check(p *lint.Pass) {
	f, v := p.Fastener(), p.Verdict()
	r := v.Plug
	if r.High == 0 {
		for _, n := range v.NotChecked {
			if n.Check == joint.CheckPlug || n.Check == joint.CheckYield && n.Missing == "thread.designation" {
				p.NotChecked("/thread/designation", n.Why)
				return
			}
		}
		return
	}
	i, stage := f.Tightening.FinalTorque()
	if i < 0 || stage.Torque.Dimension() != specdata.Torque {
		return
	}
	nm := stage.Torque.SI()
	angled := false
	for _, s := range f.Tightening.Stages {
		angled = angled || !s.Angle.IsZero()
	}
	what := fmt.Sprintf("%s usually gets %s to %s", f.Title, lint.NewtonMetres(r.Low), lint.NewtonMetres(r.High))
	switch {
	case r.Breaks > 0 && nm >= r.Breaks:
		p.Report(lint.Problem{At: lint.StageAt(i, "torque"), Arithmetic: lint.Arithmetic(v), Message: fmt.Sprintf("torque %s breaks the plug off in the head: such plugs break near %s; %s; read the source again", lint.Torque(stage.Torque), lint.NewtonMetres(r.Breaks), what)})
	case nm > over*r.High:
		p.Report(lint.Problem{At: lint.StageAt(i, "torque"), Arithmetic: lint.Arithmetic(v), Message: fmt.Sprintf("torque %s is high: %s; the shell stretches and the thread in the head tears; check digits, unit and the form of the seat", lint.Torque(stage.Torque), what)})
	case nm < under*r.Low && !angled:
		p.Report(lint.Problem{At: lint.StageAt(i, "torque"), Arithmetic: lint.Arithmetic(v), Message: fmt.Sprintf("torque %s is low: %s; a plug that does not seal overheats; check digits, unit and the form of the seat", lint.Torque(stage.Torque), what)})
	}
}
