package lint

import (
	"proofload/specdata"
	"proofload/specdata/joint"
)

// Move is a quantity of a fastener's tightening that a change moves.
type Move struct {
	// At is the pointer of the value in the new record.
	At       string
	Old, New specdata.Quantity
}

// Ratio is new by old, 0 where the old value is 0.
func (m Move) Ratio() float64 {
	if m.Old.Sign() == 0 {
		return 0
	}
	return m.New.SI() / m.Old.SI()
}

// Moves lists the torques, angles and tolerances that differ between two revisions
// of a fastener, leaving out those that are one value printed otherwise. A number
// that stays while its unit changes is a move. Where the
// number of stages differs, only the final torques are held against each other:
// which of the others became which cannot be told.
func Moves(old, new *specdata.Fastener) []Move {
	if old.Tightening == nil || new.Tightening == nil {
		return nil
	}
	var moves []Move
	add := func(at string, was, is specdata.Quantity) {
		if was.Dimension() == is.Dimension() && (was.Relabels(is) || !was.Agree(is)) {
			moves = append(moves, Move{At: at, Old: was, New: is})
		}
	}
	if len(old.Tightening.Stages) != len(new.Tightening.Stages) {
		_, was := old.Tightening.FinalTorque()
		if i, is := new.Tightening.FinalTorque(); was != nil && is != nil {
			add(StageAt(i, "torque"), was.Torque, is.Torque)
		}
		return moves
	}
	before := map[string]specdata.Quantity{}
	for at, q := range old.Tightening.Quantities() {
		before[at] = q
	}
	for at, q := range new.Tightening.Quantities() {
		if was, ok := before[at]; ok {
			add(at, was, q)
		}
	}
	return moves
}

// Backed reports whether the new citation bears a new value out: its quote states
// the value, or it cites another document than before. A change that is backed may
// be a new specification or the mend of an earlier slip.
func Backed(old, new *specdata.Citation, value specdata.Quantity) bool {
	if new == nil {
		return false
	}
	for _, m := range specdata.Mentions(new.Quote) {
		if m.Quantity.Agree(value) && !m.Quantity.Relabels(value) {
			return true
		}
	}
	return old != nil && old.Document != new.Document
}

// Mends reports whether evidence says that the value before a change was the slip
// and the change mends it: the old quote never stated the old value and states the
// new one, or the old value yields the bolt and the new one does so less.
func (p *Pass) Mends(was *specdata.Fastener, m Move) bool {
	if was.Source != nil {
		mentions := specdata.Mentions(was.Source.Quote)
		states := func(q specdata.Quantity) bool {
			for _, n := range mentions {
				if n.Quantity.Agree(q) && !n.Quantity.Relabels(q) {
					return true
				}
			}
			return false
		}
		if len(mentions) > 0 && !states(m.Old) && states(m.New) {
			return true
		}
	}
	in, _ := joint.FromFastener(was)
	before := joint.Judge(in)
	return doubt[before.Class] > doubt[p.Verdict().Class]
}

// doubt ranks where a torque lies in its window by how seldom it is meant. A low
// torque is no evidence: many joints need little.
var doubt = map[joint.Class]int{joint.MayYield: 1, joint.OverYield: 2, joint.Breaks: 3}

// Respecified reports whether a change of a fastener changes the joint as well as its
// value: another thread, class, kind, surface or way of tightening has a value of its own.
func Respecified(was, is *specdata.Fastener) bool {
	thread := func(f *specdata.Fastener) string {
		if f.Thread == nil {
			return ""
		}
		return f.Thread.Designation
	}
	class := func(f *specdata.Fastener) string {
		if f.Strength == nil {
			return ""
		}
		return f.Strength.Bolt
	}
	surface := func(f *specdata.Fastener) string {
		if f.Surface == nil {
			return ""
		}
		return f.Surface.Condition
	}
	return thread(was) != thread(is) || class(was) != class(is) || surface(was) != surface(is) || was.Joint != is.Joint ||
		len(was.Tightening.Stages) != len(is.Tightening.Stages)
}
