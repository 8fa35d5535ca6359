package lint

import (
	"proofload/specdata"
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
