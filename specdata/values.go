package specdata

import (
	"iter"
	"math"
	"slices"
	"strings"
)

// Agree reports whether two quantities can be one value printed twice: the
// intervals that round to their printed digits meet. A flat percentage would
// refuse small values that are right and pass large ones that are not.
// Quantities of different dimensions never agree; two absent ones do.
func (q Quantity) Agree(o Quantity) bool {
	if q.IsZero() || o.IsZero() {
		return q.IsZero() && o.IsZero()
	}
	if q.scale().Dimension != o.scale().Dimension {
		return false
	}
	apart, reach := math.Abs(q.SI()-o.SI()), q.half()+o.half()
	// Floats suffice, since nine digits are printed at most. In one unit, intervals
	// that only touch are neighbouring numbers, 61 and 62, and not one value.
	if q.scale().Symbol == o.scale().Symbol {
		return q.number == o.number || apart < reach*(1-1e-9)
	}
	return apart <= reach*(1+1e-9)+1e-12*math.Abs(q.SI())
}

// Relabels reports whether the two are one number with two units of one dimension,
// as when a label was swapped: converting does not leave a number as it was. Small
// values can relabel and agree at once (2 N·m and 2 lbf·ft, rounded to whole numbers).
func (q Quantity) Relabels(o Quantity) bool {
	return q.number == o.number && q.scale().Dimension == o.scale().Dimension && q.scale().Symbol != o.scale().Symbol && q.Sign() != 0
}

// Miss returns how far two quantities of one dimension lie apart as a fraction of
// the first, NaN for an absent one or different dimensions.
func (q Quantity) Miss(o Quantity) float64 {
	if q.scale().Dimension != o.scale().Dimension {
		return math.NaN()
	}
	return math.Abs(q.SI()-o.SI()) / math.Abs(q.SI())
}

// half is half of the last printed place in the SI unit of the dimension.
func (q Quantity) half() float64 {
	if strings.IndexByte(q.number, '/') >= 0 {
		return 0
	}
	places := 0
	if i := strings.IndexByte(q.number, '.'); i >= 0 {
		places = len(q.number) - i - 1
	}
	return unitSI[q.scale().Symbol] * 0.5 * math.Pow10(-places)
}

// unitSI gives one of each unit in SI units, as SI gives quantities.
var unitSI = func() map[string]float64 {
	m := make(map[string]float64, len(Units))
	for _, u := range Units {
		m[u.Symbol] = Quantity{number: "1", unit: unitBySymbol[u.Symbol]}.computeSI()
	}
	return m
}()

// Valued reports whether the stage is one that a number defines: a torque, an angle or a
// rolling torque.
func (s *Stage) Valued() bool { return !s.Torque.IsZero() || !s.Angle.IsZero() || !s.Rolling.IsZero() }

// Values returns the stages that a torque, an angle or a rolling torque defines, with their index.
func (t *Tightening) Values() iter.Seq2[int, *Stage] {
	return func(yield func(int, *Stage) bool) {
		if t == nil {
			return
		}
		for i := range t.Stages {
			if t.Stages[i].Valued() && !yield(i, &t.Stages[i]) {
				return
			}
		}
	}
}

// FinalTorque returns the index and the stage of the last torque, -1 and nil where
// there is none.
func (t *Tightening) FinalTorque() (int, *Stage) {
	if t != nil {
		for i := len(t.Stages) - 1; i >= 0; i-- {
			if !t.Stages[i].Torque.IsZero() {
				return i, &t.Stages[i]
			}
		}
	}
	return -1, nil
}

// SameValues reports whether two tightenings reach the same torques and angles in
// the same order, however they are printed. Waits, slackenings and tolerances do
// not count.
func (t *Tightening) SameValues(o *Tightening) bool {
	return slices.EqualFunc(t.valued(), o.valued(), func(a, b *Stage) bool {
		return a.Torque.Agree(b.Torque) && a.UpTo.Agree(b.UpTo) && a.Angle.Agree(b.Angle) && a.Rolling.Agree(b.Rolling) && a.RollingTo.Agree(b.RollingTo)
	})
}

func (t *Tightening) valued() (stages []*Stage) {
	for _, s := range t.Values() {
		stages = append(stages, s)
	}
	return stages
}

// Joined returns what stands between a stage and the one before it in a line of values:
// an angle is turned on top of a torque, "50 N·m + 90°", anything else comes after it.
func (s *Stage) Joined() string {
	if !s.Angle.IsZero() {
		return " + "
	}
	return ", then "
}

// String words the values of the tightening in order ("50 N·m + 90°"), "no value"
// where it has none.
func (t *Tightening) String() string {
	var b strings.Builder
	for _, s := range t.Values() {
		if b.Len() > 0 {
			b.WriteString(s.Joined())
		}
		switch {
		case !s.Angle.IsZero():
			b.WriteString(Display(s.Angle))
		case !s.RollingTo.IsZero():
			b.WriteString("rolling at " + s.Rolling.number + " to " + Display(s.RollingTo))
		case !s.Rolling.IsZero():
			b.WriteString("rolling at " + Display(s.Rolling))
		case !s.UpTo.IsZero():
			b.WriteString(s.Torque.number + " to " + Display(s.UpTo))
		default:
			b.WriteString(Display(s.Torque))
		}
	}
	if b.Len() == 0 {
		return "no value"
	}
	return b.String()
}

// Quantities returns every quantity of the tightening that a torque tool or an angle
// gauge is set to or judged by, with its pointer in a fastener's document.
func (t *Tightening) Quantities() iter.Seq2[string, Quantity] {
	return func(yield func(string, Quantity) bool) {
		if t == nil {
			return
		}
		for i := range t.Stages {
			s := &t.Stages[i]
			for _, f := range [...]struct {
				key string
				q   Quantity
			}{{"torque", s.Torque}, {"up_to", s.UpTo}, {"also", s.Also}, {"angle", s.Angle}, {"rolling", s.Rolling}, {"rolling_to", s.RollingTo}} {
				if !f.q.IsZero() && !yield(At("/tightening/stages", i, f.key), f.q) {
					return
				}
			}
		}
		if !t.Tolerance.IsZero() && !yield("/tightening/tolerance", t.Tolerance) {
			return
		}
		if !t.AngleTolerance.IsZero() && !yield("/tightening/angle_tolerance", t.AngleTolerance) {
			return
		}
		if !t.DragTorque.IsZero() {
			yield("/tightening/drag_torque", t.DragTorque)
		}
	}
}
