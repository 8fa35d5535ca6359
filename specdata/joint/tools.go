package joint

import "math"

// DefaultTolerance is the tolerance of a torque that has none printed: ±10 %
// (US Army TM 5-3895-367-14&P appendix H).
const DefaultTolerance = 0.10

// Square is a driving square.
type Square struct {
	// Name is how workshops name it ("1/2 in"); Side its nominal side in m (ISO 1174).
	Name string
	Side float64
	// ToolMax is the most in N·m a torque tool with this square may have
	// (ISO 6789:2003 5.1.2, from memory); Test is what a hand socket must stand
	// (ISO 3315 / ISO 1711-1, from memory).
	ToolMax, Test float64
}

// Squares lists the driving squares, smallest first.
var Squares = []Square{
	{"1/4 in", 6.3 * millimetre, 30, 62},
	{"3/8 in", 10 * millimetre, 135, 202},
	{"1/2 in", 12.5 * millimetre, 340, 512},
	{"3/4 in", 20 * millimetre, 1000, 1412},
	{"1 in", 25 * millimetre, 2100, 2515},
}

// SquareNamed looks up a driving square by its workshop name.
func SquareNamed(name string) (Square, bool) {
	for _, s := range Squares {
		if s.Name == name {
			return s, true
		}
	}
	return Square{}, false
}

// SquareFor is the smallest driving square whose torque tools reach the torque in
// N·m. It is false above the largest.
func SquareFor(torque float64) (Square, bool) {
	for _, s := range Squares {
		if torque <= s.ToolMax {
			return s, true
		}
	}
	return Square{}, false
}

// Wrench is an adjustable torque wrench with its lowest and highest mark in N·m.
type Wrench struct{ Min, Max float64 }

// ISO 6789 type II class A: the deviation permitted over smallScale N·m and at or
// below it, as fractions, and from which share of the highest mark it is proved.
const (
	smallScale     = 10
	largeDeviation = 0.04
	smallDeviation = 0.06
	provedFrom     = 0.2
)

// Tolerance is the permitted deviation of the reading as a fraction: ±4 % for
// tools whose highest mark is over 10 N·m, ±6 % at or below (ISO 6789 type II
// class A). It is proved from the lowest mark, or 20 % of the highest, upwards.
func (w Wrench) Tolerance() float64 {
	if w.Max > smallScale {
		return largeDeviation
	}
	return smallDeviation
}

// outerShare is the part of the scale at either end that is not its middle.
const outerShare = 0.25

// Middle is the range in N·m in which a wrench is best used, the middle half of
// its scale: 25 % to 75 % (US Army TM 9-2350-311-20-2).
func (w Wrench) Middle() (low, high float64) {
	span := w.Max - w.Min
	return w.Min + outerShare*span, w.Max - outerShare*span
}

// Suits says how a torque lies on a wrench.
type Suits uint8

// From useless to best.
const (
	OffScale    Suits = iota // under the lowest mark or over the highest
	BelowProved              // on the scale but under 20 % of the highest mark, where accuracy is not proved
	OffMiddle                // usable
	InMiddle                 // in the middle half
)

var suitsNames = [...]string{"off the scale", "under 20 % of full scale", "on the scale", "in the middle of the scale"}

// String says how it lies.
func (s Suits) String() string { return suitsNames[min(int(s), len(suitsNames)-1)] }

// Suits tells how the torque in N·m lies on the wrench.
func (w Wrench) Suits(torque float64) Suits {
	low, high := w.Middle()
	const rounding = 1e-9 // a setting on the mark itself is on the scale
	switch {
	case torque < w.Min-rounding || torque > w.Max+rounding || torque <= 0:
		return OffScale
	case torque < provedFrom*w.Max-rounding:
		return BelowProved
	case torque < low || torque > high:
		return OffMiddle
	}
	return InMiddle
}

// ChooseWrench picks the wrench for a torque in N·m: the best suited, and of
// several the one on whose scale it lies nearest the middle. It gives -1 where the
// torque is off every scale.
func ChooseWrench(wrenches []Wrench, torque float64) (int, Suits) {
	best, suits, off := -1, OffScale, math.Inf(1)
	for i, w := range wrenches {
		s := w.Suits(torque)
		d := math.Abs(torque-(w.Min+w.Max)/2) / (w.Max - w.Min)
		if s > suits || s == suits && s != OffScale && d < off {
			best, suits, off = i, s, d
		}
	}
	return best, suits
}

// Setting is what a click wrench is set to in N·m when an adapter moves the drive:
// set = T·L/(L + E·cos α), where length L in m is from the grip's middle to the
// square, extension E in m from the square to the fastener and angle α in rad
// between them, 0 straight on. At a right angle nothing changes (US Army TM,
// US Navy and FAA AC 43.13-1B all give this form).
func Setting(torque, length, extension, angle float64) float64 {
	return torque * length / (length + extension*math.Cos(angle))
}

// Multiplied is what goes into a multiplier for a torque at the fastener, both in N·m:
// gain is what it gives for 1 put in, its losses taken off, as its plate states.
func Multiplied(torque, gain float64) float64 { return torque / gain }

// AtFastener is the reverse of Setting: what the fastener gets in N·m when the
// wrench clicks at the setting.
func AtFastener(setting, length, extension, angle float64) float64 {
	return setting * (length + extension*math.Cos(angle)) / length
}
