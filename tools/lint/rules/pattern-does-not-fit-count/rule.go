// Package patterndoesnotfitcount finds tightening orders that do not fit the number of fasteners.
package patterndoesnotfitcount

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "pattern-does-not-fit-count",
	Title:     "order of tightening does not fit the number of fasteners",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 5-3805-248-23-1", Note: "patterns"}, lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Tightening.Pattern != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	t := f.Tightening.Pattern
	const at = "/tightening/pattern"
	if t.Order != "sequence" {
		if len(t.Sequence) > 0 {
			p.Report(lint.Problem{At: at + "/sequence", Severity: lint.Warning, Message: "sequence is given, but order is " + t.Order + "; write order: sequence, or remove it"})
		}
		if t.Order == "cross" && f.Count > 1 && f.Count%2 == 1 {
			p.Reportf(at+"/order", "order is cross, which goes to the one opposite, and of %d none is opposite another; write star, or correct count, which is per side", f.Count)
		}
		if f.Count == 1 && t.Order != "one" {
			p.Report(lint.Problem{At: at + "/order", Severity: lint.Warning, Message: "order " + t.Order + " is given for one fastener; correct count, which is per side, or remove the pattern"})
		}
		if f.Joint == specdata.JointWheel && f.Count > 3 && (t.Order == "circle" || t.Order == "spiral") {
			p.Report(lint.Problem{At: at + "/order", Severity: lint.Warning, Message: "order of wheel fasteners is " + t.Order + ", which draws the wheel on from one side; write cross for four, star for five and more"})
		}
		return
	}
	if len(t.Sequence) == 0 {
		p.Reportf(at+"/order", "order is sequence, but no sequence is given; add pattern.sequence with %d positions", f.Count)
		return
	}
	for i, n := range t.Sequence {
		if n < 1 || n > f.Count {
			p.Reportf(at+"/sequence", "sequence names position %d, but there are %d fasteners; correct the sequence or count", n, f.Count)
			return
		}
		if slices.Contains(t.Sequence[:i], n) {
			p.Reportf(at+"/sequence", "sequence names position %d twice; each is tightened once a pass", n)
			return
		}
	}
	if len(t.Sequence) < f.Count {
		missing := 1
		for slices.Contains(t.Sequence, missing) {
			missing++
		}
		p.Reportf(at+"/sequence", "sequence has %d positions for %d fasteners; position %d is left out and would stay at hand tight: add it, or correct count", len(t.Sequence), f.Count, missing)
	}
}
