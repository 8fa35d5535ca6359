package wording

import (
	"math"
	"math/big"
	"strconv"
	"strings"

	"proofload/specdata"
)

// Torque returns a torque, or the range to upTo where that is present, in both unit
// systems: "240 N·m (177 lbf·ft)". The ends of a range have one unit; the ones that are
// worked out lie within those that the source prints. What is not a torque is given as
// printed.
func Torque(t, upTo specdata.Quantity) string {
	switch {
	case t.Dimension() != specdata.Torque:
		return t.String()
	case upTo.Dimension() != specdata.Torque:
		return specdata.Metric(t) + " (" + specdata.Imperial(t) + ")"
	}
	b, _ := BandOf(&specdata.Stage{Torque: t, UpTo: upTo}, specdata.Quantity{})
	return b.Metric() + " (" + b.Imperial() + ")"
}

// StageTorque returns the torque of a stage in both unit systems. Where the source prints
// the pair itself and the two agree, it is the source's pair: "12 N·m (9 lbf·ft)".
func StageTorque(s *specdata.Stage) string {
	metric, imperial := pair(s)
	if s.Torque.Dimension() != specdata.Torque || s.UpTo.Dimension() == specdata.Torque {
		return Torque(s.Torque, s.UpTo)
	}
	return metric + " (" + imperial + ")"
}

// pair returns a stage's torque in either unit system.
func pair(s *specdata.Stage) (metric, imperial string) {
	metric, imperial = specdata.Metric(s.Torque), specdata.Imperial(s.Torque)
	if s.Also.Dimension() != specdata.Torque || !s.Torque.Agree(s.Also) {
		return metric, imperial
	}
	switch s.Also.Unit().Symbol {
	case "N.m":
		metric = specdata.Metric(s.Also)
	case "lbf.ft", "lbf.in":
		imperial = specdata.Imperial(s.Also)
	}
	return metric, imperial
}

// Between joins two texts with their units, the unit once where both have it.
func Between(low, high string) string {
	number, unit, _ := strings.Cut(low, " ")
	if strings.HasSuffix(high, " "+unit) {
		return number + " to " + high
	}
	return low + " to " + high
}

// Tightening returns the whole tightening in one line: its values in order, without
// the words that a sheet has room for.
func Tightening(t *specdata.Tightening) string {
	if t == nil || len(t.Stages) == 0 {
		return "no value"
	}
	all := make([]int, len(t.Stages))
	for i := range all {
		all[i] = i
	}
	return Stages(t, all)
}

// NewtonMetres returns a computed torque in N·m in both unit systems, rounded as screens
// round.
func NewtonMetres(nm float64) string {
	digits := strconv.FormatFloat(math.Round(10*nm)/10, 'f', -1, 64)
	switch {
	case nm >= 20:
		digits = strconv.FormatFloat(nm, 'f', 0, 64)
	case nm >= 10:
		digits = strconv.FormatFloat(math.Round(2*nm)/2, 'f', -1, 64)
	}
	q, err := specdata.ParseQuantity(digits + " N.m")
	if err != nil {
		return digits + " N·m" // beyond what a document can hold
	}
	return Torque(q, specdata.Quantity{})
}

func brief(s *specdata.Stage) string {
	switch {
	case !s.Torque.IsZero():
		return StageTorque(s)
	case !s.Angle.IsZero():
		return specdata.Display(s.Angle)
	case !s.Rolling.IsZero():
		return "to " + Torque(s.Rolling, s.RollingTo) + " rolling"
	case s.Slacken:
		return "slacken"
	case !s.Wait.IsZero():
		return "wait " + specdata.Display(s.Wait)
	case s.Seat == "hand":
		return "by hand"
	}
	return "to the " + s.Seat
}

// Band is what counts as tightened to a torque.
type Band struct {
	// Low and High are in N·m, exact.
	Low, High *big.Rat
	// at is what the band is about, and printed the ends where the source prints them.
	at      *big.Rat
	unit    specdata.Unit
	printed [2]specdata.Quantity
	// Assumed says that the source prints no tolerance and ±10 % is taken.
	Assumed bool
	// Text says where the band comes from: "±5 %", "±10 % assumed", "range as printed".
	Text string
}

// Metric returns the band in N·m, rounded inwards for display.
func (b Band) Metric() string {
	if b.printedIn("N.m") {
		return Between(specdata.Metric(b.printed[0]), specdata.Metric(b.printed[1]))
	}
	return specdata.MetricWithin(b.Low, b.High, b.at)
}

// Imperial returns the band in lbf·ft or lbf·in, that of its value, rounded inwards for
// display.
func (b Band) Imperial() string {
	if b.printedIn("lbf.ft") || b.printedIn("lbf.in") {
		return Between(specdata.Imperial(b.printed[0]), specdata.Imperial(b.printed[1]))
	}
	return specdata.ImperialWithin(b.Low, b.High, b.at, b.unit)
}

// printedIn reports whether the source prints both ends in a unit.
func (b Band) printedIn(symbol string) bool {
	return b.printed[0].Unit().Symbol == symbol && b.printed[1].Unit().Symbol == symbol
}

// clip leaves of the band what a torque tool reads; ok is false where that leaves
// nothing of the value.
func (b Band) clip(tool *specdata.Tool) (Band, bool) {
	from, err := tool.From.In(newtonMetre)
	if err != nil {
		return b, true
	}
	to, err := tool.To.In(newtonMetre)
	if err != nil {
		return b, true
	}
	if b.at.Cmp(from) < 0 || b.at.Cmp(to) > 0 {
		return b, false
	}
	if b.Low.Cmp(from) < 0 || b.High.Cmp(to) > 0 {
		if b.Low.Cmp(from) < 0 {
			b.Low = from
		}
		if b.High.Cmp(to) > 0 {
			b.High = to
		}
		b.printed = [2]specdata.Quantity{}
		b.Text += ", as far as this wrench reads"
	}
	return b, true
}

var newtonMetre, _ = specdata.LookupUnit("N.m")

// assumedTolerance is what counts where a source prints none: ±10 % (US Army
// TM 9-2320-362-14&P, appendix F).
var assumedTolerance = specdata.MustQuantity("10 %")

// BandOf works out what counts as tightened to a stage's torque. A printed range
// is its own band; a tolerance beside it is not added, because the range already
// is one. ok is false where the stage has no torque or the tolerance is of
// another dimension.
func BandOf(s *specdata.Stage, tolerance specdata.Quantity) (b Band, ok bool) {
	nominal, err := s.Torque.In(newtonMetre)
	if err != nil {
		return Band{}, false
	}
	if top, err := s.UpTo.In(newtonMetre); err == nil {
		middle := new(big.Rat).Add(nominal, top)
		middle.Quo(middle, big.NewRat(2, 1))
		return Band{Low: nominal, High: top, at: middle, printed: [2]specdata.Quantity{s.Torque, s.UpTo}, Text: "range as printed"}, true
	}
	b.Assumed = tolerance.IsZero()
	if b.Assumed {
		tolerance = assumedTolerance
	}
	margin, ok := marginOf(nominal, tolerance)
	if !ok {
		return Band{}, false
	}
	b.at, b.unit = nominal, s.Torque.Unit()
	if also := s.Also.Unit(); (also.Symbol == "lbf.ft" || also.Symbol == "lbf.in") && s.Torque.Agree(s.Also) {
		b.unit = also // the band is in the unit that its value is printed in
	}
	b.Low, b.High = new(big.Rat).Sub(nominal, margin), new(big.Rat).Add(nominal, margin)
	b.Text = "±" + specdata.Display(tolerance)
	if b.Assumed {
		b.Text += " assumed"
	}
	return b, true
}

// marginOf returns the tolerance in N·m, a share of the torque or a torque itself.
func marginOf(nominal *big.Rat, tolerance specdata.Quantity) (*big.Rat, bool) {
	switch tolerance.Dimension() {
	case specdata.Fraction:
		percent, err := tolerance.In(tolerance.Unit())
		if err != nil {
			return nil, false
		}
		return percent.Mul(percent, tolerance.Unit().SI).Mul(percent, nominal), true
	case specdata.Torque:
		margin, err := tolerance.In(newtonMetre)
		return margin, err == nil
	}
	return nil, false
}
