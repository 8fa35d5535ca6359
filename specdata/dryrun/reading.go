package dryrun

import (
	"slices"

	"proofload/specdata"
)

// Reading is one step as a person reads it: its acts on both sides are one step where
// they are written in one, and a step without acts is there too.
type Reading struct {
	Step *specdata.Step
	// Repeats is the index of the step whose repeat brings it, -1 for a step that is
	// read where it is written. A step that is a repeat comes before what it repeats.
	Repeats int
	// Side is the side of all its acts, "" where they are on several or on none.
	Side specdata.Side
	// Moments are indexes into the Timeline, none for a step without acts.
	Moments []int
}

// Readings lists the steps of a procedure in the order in which they are read, for the
// variant of the outcome: branches taken, repeats unrolled.
func (o *Outcome) Readings(p *specdata.Procedure) []Reading {
	var out []Reading
	next := 0
	read := func(i, repeats int, side specdata.Side) {
		s := &p.Steps[i]
		if !covers(s.Where, o.Variant) {
			return
		}
		if side == "" {
			side = s.Side
		}
		r := Reading{Step: s, Repeats: repeats, Side: side}
		for ; next < len(o.Timeline) && o.Timeline[next].StepIndex == i && o.Timeline[next].Repeats == repeats; next++ {
			if r.Moments == nil {
				r.Side = o.Timeline[next].Side
			} else if r.Side != o.Timeline[next].Side {
				r.Side = ""
			}
			r.Moments = append(r.Moments, next)
		}
		if len(s.Operations) > 0 && r.Moments == nil {
			return // the run was cut short before it
		}
		out = append(out, r)
	}
	for i := range p.Steps {
		read(i, -1, "")
		again := p.Steps[i].Repeat
		if again == nil || !covers(p.Steps[i].Where, o.Variant) {
			continue
		}
		named := func(id string) int {
			return slices.IndexFunc(p.Steps, func(s specdata.Step) bool { return s.ID == id })
		}
		from, to := named(again.From), named(again.To)
		if from < 0 || from > to || to >= i {
			continue
		}
		for k := from; k <= to; k++ {
			if p.Steps[k].Repeat == nil {
				read(k, i, again.Side)
			}
		}
	}
	return out
}
