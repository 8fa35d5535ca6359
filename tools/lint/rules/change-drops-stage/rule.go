// Package changedropsstage holds the rule change-drops-stage: change loses a stage of the tightening.
package changedropsstage

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
	Name:      "change-drops-stage",
	Title:     "change loses a stage of the tightening",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || was.Tightening == nil || is.Tightening == nil || len(is.Tightening.Stages) >= len(was.Tightening.Stages) {
		return
	}
	before, after := count(was.Tightening), count(is.Tightening)
	for i, name := range [...]string{"torque", "angle", "slackening", "wait", "seating"} {
		if lost := before[i] - after[i]; lost > 0 {
			p.Reportf("/tightening/stages", "tightening loses its %s: it was %s in %d stages and becomes %s in %d; put the stage back, or quote the source that drops it",
				plural(lost, name), was.Tightening, len(was.Tightening.Stages), is.Tightening, len(is.Tightening.Stages))
			return
		}
	}
}

// count counts the stages of each sort.
func count(t *specdata.Tightening) (n [5]int) {
	for i := range t.Stages {
		switch s := &t.Stages[i]; {
		case !s.Torque.IsZero():
			n[0]++
		case !s.Angle.IsZero():
			n[1]++
		case s.Slacken:
			n[2]++
		case !s.Wait.IsZero():
			n[3]++
		case s.Seat != "":
			n[4]++
		}
	}
	return n
}

func plural(n int, name string) string {
	if n == 1 {
		return name + " stage"
	}
	return fmt.Sprintf("%d %s stages", n, name)
}
