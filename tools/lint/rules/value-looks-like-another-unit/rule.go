// Package valuelookslikeanotherunit finds torques that are a unit factor away from their siblings.
package valuelookslikeanotherunit

import (
	_ "embed"
	"fmt"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "value-looks-like-another-unit",
	Title:     "torque is a unit factor away from its siblings",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "NIST SP 811"}, {Kind: lint.Manual, Document: "US Army TB 43-0218", Note: "factor 12"}},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil }),
	Record:    check,
}

// enough is how many neighbours make a habit.
const enough = 3

func check(p *lint.Pass) {
	neighbours := p.TorqueNeighbours()
	if len(neighbours) < enough {
		return
	}
	f := p.Fastener()
	i := lint.HighestStage(f.Tightening)
	q := f.Tightening.Stages[i].Torque
	var room [2 * library.NeighboursEachSide]float64
	values := room[:0]
	for _, o := range neighbours {
		values = append(values, o.Torque)
	}
	ratio := q.SI() / lint.Median(values)
	if ratio > 0.8 && ratio < 1.25 {
		return
	}
	spread := values[len(values)-1] / values[0]
	big := ratio > 6 || ratio < 1.0/6
	within := spread - 1
	severity := lint.Warning
	switch {
	case big && spread <= 1.6:
		within = max(within, 0.08)
	case !big && spread <= 1.1:
		within = 0.05
		if !named(f.Title, neighbours) {
			severity = lint.Advice
		}
	default:
		return // the neighbours do not agree among themselves
	}
	slip, ok := joint.SlipOf(ratio, within)
	if !ok {
		return
	}
	p.Report(lint.Problem{
		At: lint.StageAt(i, "torque"), Severity: severity,
		Message: fmt.Sprintf("torque %s is %.3g times what %d siblings with %s %s have (%s to %s): perhaps %s; %s would be in line; read the unit again in the source",
			lint.Torque(q), ratio, len(neighbours), f.Thread.Designation, f.Strength.Bolt, lint.NewtonMetres(values[0]), lint.NewtonMetres(values[len(values)-1]), slip.What, lint.NewtonMetres(q.SI()/slip.Factor)),
		Related: lint.RelatedNeighbours(neighbours),
	})
}

// named reports whether enough neighbours do the same work by name, so that even a
// small factor means something.
func named(title string, neighbours []lint.Neighbour) bool {
	n := 0
	for _, o := range neighbours {
		if strings.EqualFold(o.Fastener().Title, title) {
			n++
		}
	}
	return n >= enough
}
