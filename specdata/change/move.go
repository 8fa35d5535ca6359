package change

import (
	"math"
	"strconv"

	"proofload/specdata"
	"proofload/specdata/wording"
)

// Move is one value of a tightening that differs between two states of a fastener.
type Move struct {
	// What is the value in shop words: "torque", "torque of stage 2", "angle", "prevailing torque".
	What string
	// Pointer is where it stands in the new document, or in the old one where it is gone.
	Pointer string
	// Old and New are the values, the zero Quantity where there is none. OldUpTo and
	// NewUpTo are the upper ends where a source prints a range.
	Old, OldUpTo, New, NewUpTo specdata.Quantity
	// Ratio is the relative move: +0.12 is up by 12 %. Of a range it is that of the
	// end that moved further. It is 0 where one side has no value, or both are the
	// same in another unit.
	Ratio float64
}

// Torque reports whether the value is a tightening torque.
func (m *Move) Torque() bool {
	return m.Old.Dimension() == specdata.Torque || m.New.Dimension() == specdata.Torque
}

// smallest is the least relative move that is more than another way to print the
// same torque: sources round a converted value to three or four digits.
const smallest = 0.0005

// Moves lists the torques and angles that differ between two states of a fastener,
// in order of stage. A state that is not there, or not readable as one, is nil and
// has no values. Torques are compared in their order among the torques of each
// state, and angles among the angles, so that a stage put in front does not make
// every later one look changed; where the number of them differs, they are compared
// from the last, which is the one that counts.
func Moves(old, new *specdata.Fastener) []Move {
	o, n := valuesOf(old), valuesOf(new)
	var out []Move
	for _, what := range []string{"torque", "angle"} {
		out = append(out, compare(what, o[what], n[what])...)
	}
	od, nd := drag(old), drag(new)
	if od.String() != nd.String() {
		out = append(out, move("prevailing torque", value{torque: od, pointer: dragPointer}, value{torque: nd, pointer: dragPointer}))
	}
	return out
}

// value is a torque or angle of a stage.
type value struct {
	torque, upTo specdata.Quantity
	pointer      string
}

func valuesOf(f *specdata.Fastener) map[string][]value {
	out := map[string][]value{}
	if f == nil || f.Tightening == nil {
		return out
	}
	for i := range f.Tightening.Stages {
		s := &f.Tightening.Stages[i]
		at := "/tightening/stages/" + strconv.Itoa(i)
		switch {
		case !s.Torque.IsZero():
			out["torque"] = append(out["torque"], value{s.Torque, s.UpTo, at + "/torque"})
		case !s.Rolling.IsZero():
			out["torque"] = append(out["torque"], value{s.Rolling, s.RollingTo, at + "/rolling"})
		case !s.Angle.IsZero():
			out["angle"] = append(out["angle"], value{s.Angle, specdata.Quantity{}, at + "/angle"})
		}
	}
	return out
}

const dragPointer = "/tightening/drag_torque"

func drag(f *specdata.Fastener) specdata.Quantity {
	if f == nil || f.Tightening == nil {
		return specdata.Quantity{}
	}
	return f.Tightening.DragTorque
}

func compare(what string, old, new []value) []Move {
	var out []Move
	most := max(len(old), len(new))
	for i := range most {
		o, n := fromEnd(old, most, i), fromEnd(new, most, i)
		if o.torque.String() == n.torque.String() && o.upTo.String() == n.upTo.String() {
			continue
		}
		name := what
		if most > 1 {
			name += " " + strconv.Itoa(i+1) + " of " + strconv.Itoa(most)
		}
		out = append(out, move(name, o, n))
	}
	return out
}

// fromEnd returns the i-th of most values, counted so that the last are side by side.
func fromEnd(vs []value, most, i int) value {
	if i -= most - len(vs); i >= 0 {
		return vs[i]
	}
	return value{}
}

func move(what string, o, n value) Move {
	m := Move{What: what, Pointer: n.pointer, Old: o.torque, OldUpTo: o.upTo, New: n.torque, NewUpTo: n.upTo}
	if n.torque.IsZero() {
		m.Pointer = o.pointer
	}
	low, high := ratio(m.Old, m.New), ratio(top(m.Old, m.OldUpTo), top(m.New, m.NewUpTo))
	if m.Ratio = low; math.Abs(high) > math.Abs(low) {
		m.Ratio = high
	}
	return m
}

func top(q, upTo specdata.Quantity) specdata.Quantity {
	if upTo.IsZero() {
		return q
	}
	return upTo
}

func ratio(old, new specdata.Quantity) float64 {
	if old.IsZero() || new.IsZero() || old.Dimension() != new.Dimension() || old.SI() == 0 {
		return 0
	}
	r := new.SI()/old.SI() - 1
	if math.Abs(r) < smallest {
		return 0
	}
	return r
}

// String returns the move in shop words with both units: "torque up 12 % from
// 80 N·m (59 lbf·ft) to 90 N·m (66 lbf·ft)".
func (m *Move) String() string {
	o, n := text(m.Old, m.OldUpTo), text(m.New, m.NewUpTo)
	switch {
	case m.Old.IsZero():
		return m.What + " new: " + n
	case m.New.IsZero():
		return m.What + " gone: was " + o
	case m.Ratio != 0:
		return m.What + " " + Percent(m.Ratio) + " from " + o + " to " + n
	case m.Old.Dimension() != m.New.Dimension() || m.Old.SI() == 0:
		return m.What + " was " + o + ", is " + n
	}
	return m.What + " printed another way, the same value: was " + o + ", is " + n
}

func text(q, upTo specdata.Quantity) string {
	if q.Dimension() == specdata.Torque {
		return wording.Torque(q, upTo)
	}
	return specdata.Display(q)
}

// Percent returns a relative move in words: "up 12 %", "down 0.4 %", "the same".
func Percent(ratio float64) string {
	way := "up "
	if ratio < 0 {
		way = "down "
	}
	p := math.Abs(ratio) * 100
	switch {
	case p < 0.05:
		return "the same"
	case p < 10:
		return way + strconv.FormatFloat(math.Round(p*10)/10, 'f', -1, 64) + " %"
	}
	return way + strconv.FormatFloat(math.Round(p), 'f', -1, 64) + " %"
}
