// Package rowoutofline finds torques that stand out among rows of one kind.
package rowoutofline

import (
	_ "embed"
	"fmt"
	"math"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "row-out-of-line",
	Title:     "torque is out of line with its siblings",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{lint.CommonPractice, {Kind: lint.Manual, Document: "US Army TM 9-2320-362-14&P", Clause: "appendix F", Note: "the metric table, on which it was tried"}},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil && f.Surface != nil }),
	Record:    check,
}

const (
	enough   = 4    // neighbours that make a row
	off      = 1.3  // factor from the median that is worth a look
	scatters = 5    // times their own scatter
	within   = 0.03 // a named slip is for value-looks-like-another-unit
)

func check(p *lint.Pass) {
	f := p.Fastener()
	var room [2 * library.NeighboursEachSide]float64
	values := room[:0]
	for _, o := range p.TorqueNeighbours() {
		if s := o.Fastener().Surface; s != nil && s.Condition == f.Surface.Condition {
			values = append(values, o.Torque)
		}
	}
	if len(values) < enough {
		return
	}
	i := lint.HighestStage(f.Tightening)
	q := f.Tightening.Stages[i].Torque
	median := lint.Median(values)
	if ratio := q.SI() / median; ratio < off && ratio > 1/off || math.Abs(q.SI()-median) < scatters*spread(values, median) {
		return
	}
	// Heads and flanges differ, so the suspicion is tried on the share of yield.
	own := p.Verdict().YieldHigh
	var neighbours []lint.Neighbour
	values = values[:0]
	for _, o := range p.TorqueNeighbours() {
		if s := o.Fastener().Surface; s != nil && s.Condition == f.Surface.Condition {
			in, _ := joint.FromFastener(o.Fastener())
			v := joint.Judge(in)
			neighbours, values = append(neighbours, o), append(values, v.YieldHigh)
		}
	}
	middle := lint.Median(values)
	if own == 0 || middle == 0 {
		p.Unjudged(joint.CheckYield)
		return
	}
	low, high := values[0], values[len(values)-1]
	ratio := own / middle
	if ratio < off && ratio > 1/off || math.Abs(own-middle) < scatters*spread(values, middle) {
		return
	}
	if _, named := joint.SlipOf(q.SI()/median, within); named {
		return
	}
	p.Report(lint.Problem{
		At: lint.StageAt(i, "torque"),
		Message: fmt.Sprintf("torque %s loads the bolt to %.0f %% of its yield where %d siblings with %s %s lie from %.0f to %.0f %%; about %s would be in line; read the row again in the source",
			lint.Torque(q), 100*own, len(neighbours), f.Thread.Designation, f.Strength.Bolt, 100*low, 100*high, lint.NewtonMetres(q.SI()/ratio)),
		Related: lint.RelatedNeighbours(neighbours),
	})
}

// spread is the median absolute deviation, scaled to the standard deviation of
// normal scatter; it reorders the values.
func spread(values []float64, median float64) float64 {
	for k := range values {
		values[k] = math.Abs(values[k] - median)
	}
	return 1.4826 * lint.Median(values)
}
