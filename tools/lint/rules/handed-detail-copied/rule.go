// Package handeddetailcopied finds handed details that are the same on left and right.
package handeddetailcopied

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "handed-detail-copied",
	Title:     "a handed detail is the same on left and right",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1", Note: "the direction is noted for each arm"}, lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return len(f.Pairs) > 0 }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	for i, pair := range f.Pairs {
		if pair.As != "left-right" || pair.Fastener == f.ID {
			continue
		}
		o := library.Fastener(p.Library, pair.Fastener)
		if o == nil {
			p.NotChecked(specdata.At("/pairs", i, ""), "fastener "+pair.Fastener+" is not in the library")
			continue
		}
		other := p.Library.Get(o.Name())
		if f.Thread != nil && o.Thread != nil && f.Thread.Hand == "left" && o.Thread.Hand == "left" {
			p.Report(lint.Problem{
				At:      "/thread/hand",
				Message: fmt.Sprintf("thread is left-hand here and on %s, the other side of the pair; a left-hand thread is usually on one side only: look at both pieces and correct the copied one", o.ID),
				Related: []specdata.Related{lint.Related(other, "/thread/hand", "says left too")},
			})
		}
		direction(p, f, o, other)
	}
}

func direction(p *lint.Pass, f, o *specdata.Fastener, other *library.Entry) {
	if f.Fitting == nil || o.Fitting == nil || !specdata.SameWords(f.Fitting.Direction, o.Fitting.Direction) {
		return
	}
	severity := lint.Warning
	switch d := f.Fitting.Direction; {
	case specdata.HasWord(d, "left", "right", "clockwise", "anticlockwise", "counterclockwise"):
	case specdata.HasWord(d, "front", "forward", "rear", "rearward", "back", "backward"):
		severity = lint.Advice // most bolts do face one way on both sides
	default:
		return // inwards, outwards and towards the wheel mirror themselves
	}
	p.Report(lint.Problem{
		At:       "/fitting/direction",
		Severity: severity,
		Message:  fmt.Sprintf("direction %q is word for word that of %s, the other side of the pair; left and right have records of their own because something is handed: read the direction of each side in the source", f.Fitting.Direction, o.ID),
		Related:  []specdata.Related{lint.Related(other, "/fitting/direction", "says the same")},
	})
}
