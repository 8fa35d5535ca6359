// Package stagenotsaid reports: several stages are done in one act that does not say so.
package stagenotsaid

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "stage-not-said",
	Title:     "several stages are done in one act that does not say so",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E"}},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	written := p.Operations()
	for _, u := range p.Tightenings() {
		if u.Act.Do != specdata.Tighten || len(u.Stages) < 2 {
			continue
		}
		parted := false
		for _, i := range u.Stages[:len(u.Stages)-1] {
			s, next := &u.Fastener.Tightening.Stages[i], &u.Fastener.Tightening.Stages[i+1]
			parted = parted || s.AllFirst || !s.Torque.IsZero() && !next.Angle.IsZero()
		}
		for _, w := range written {
			if parted && w.At == u.Act.Pointer() && !w.Says("stage", "angle", "degree", "then", "turn") {
				p.Reportf(w.At, "%s has %d stages and the step says none; write one stage or turn operation for each", w.Target, len(u.Stages))
			}
		}
	}
}
