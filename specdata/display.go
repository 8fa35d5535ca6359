package specdata

import (
	"math"
	"math/big"
	"strconv"
)

// Rounding for display, common practice, no source: N·m whole from 20 up, halves
// from 10 to 20, tenths below; lbf·ft whole from 10 lbf·ft up and lbf·in whole
// below. Always computed from the printed value, never from a rounded one.

// Metric returns the torque in N·m rounded for display, with the unit ("240 N·m").
func Metric(q Quantity) string {
	if q.scale().Symbol == "N.m" {
		return q.number + " N·m" // as printed
	}
	if q.scale().Dimension != Torque {
		return Display(q)
	}
	if s, ok := roundMetric(q.si); ok {
		return s
	}
	r, _ := q.In(newtonMetre)
	return RoundMetric(r)
}

// RoundMetric returns a torque in N·m rounded for display, for values worked out
// from printed ones.
func RoundMetric(newtonMetres *big.Rat) string {
	f, _ := newtonMetres.Float64()
	if s, ok := roundMetric(f); ok {
		return s
	}
	return roundTo(newtonMetres, metricParts(f)) + " N·m"
}

// metricParts is into how many parts a newton metre is rounded.
func metricParts(newtonMetres float64) int64 {
	switch a := math.Abs(newtonMetres); {
	case a >= 20:
		return 1
	case a >= 10:
		return 2
	}
	return 10
}

func roundMetric(newtonMetres float64) (s string, ok bool) {
	s, ok = surelyRound(newtonMetres, metricParts(newtonMetres))
	return s + " N·m", ok
}

// Imperial returns the torque in lbf·ft, or lbf·in below 10 lbf·ft, rounded for display.
func Imperial(q Quantity) string {
	if q.scale().Symbol == "lbf.ft" || q.scale().Symbol == "lbf.in" {
		return q.number + " " + q.scale().Display
	}
	if q.scale().Dimension != Torque {
		return ""
	}
	if s, ok := roundImperial(q.si); ok {
		return s
	}
	r, _ := q.In(newtonMetre)
	return RoundImperial(r)
}

// RoundImperial returns a torque in N·m as lbf·ft, or as lbf·in below 10 lbf·ft,
// rounded for display, for values worked out from printed ones.
func RoundImperial(newtonMetres *big.Rat) string {
	f, _ := newtonMetres.Float64()
	if s, ok := roundImperial(f); ok {
		return s
	}
	if r := new(big.Rat).Quo(newtonMetres, poundFoot.SI); r.Cmp(big.NewRat(10, 1)) >= 0 {
		return roundTo(r, 1) + " lbf·ft"
	}
	return roundTo(new(big.Rat).Quo(newtonMetres, poundInch.SI), 1) + " lbf·in"
}

func roundImperial(newtonMetres float64) (s string, ok bool) {
	feet := newtonMetres / poundFootSI
	switch {
	case feet > 10+doubt:
		s, ok = surelyRound(feet, 1)
		return s + " lbf·ft", ok
	case feet < 10-doubt:
		s, ok = surelyRound(12*feet, 1)
		return s + " lbf·in", ok
	}
	return "", false
}

var (
	newtonMetre, _ = LookupUnit("N.m")
	poundFoot, _   = LookupUnit("lbf.ft")
	poundInch, _   = LookupUnit("lbf.in")
	poundFootSI, _ = poundFoot.SI.Float64()
)

// MetricWithin returns a band of torques in N·m, rounded for display inwards, so that
// anyone who works to the printed ends stays within it. at is the value the band is about:
// it decides how finely the ends are rounded and lies between them. Where that leaves no
// band, the ends are printed more finely.
func MetricWithin(low, high, at *big.Rat) string {
	f, _ := at.Float64()
	return within(low, high, at, metricParts(f)) + " N·m"
}

// ImperialWithin is MetricWithin in lbf·ft or lbf·in: in the unit that the value is
// printed in, where it is printed in one of them, and else in lbf·in where at is below
// 10 lbf·ft. Both ends have the unit of the value, because an end in another is misread
// twelvefold.
func ImperialWithin(low, high, at *big.Rat, printed Unit) string {
	unit, name := poundFoot.SI, " lbf·ft"
	if printed.Symbol == "lbf.in" || printed.Symbol != "lbf.ft" && new(big.Rat).Quo(at, unit).Cmp(big.NewRat(10, 1)) < 0 {
		unit, name = poundInch.SI, " lbf·in"
	}
	in := func(r *big.Rat) *big.Rat { return new(big.Rat).Quo(r, unit) }
	return within(in(low), in(high), in(at), 1) + name
}

// within prints "low to high" in the coarsest of parts, then tenths of parts, ..., that
// leaves a band around at.
func within(low, high, at *big.Rat, parts int64) string {
	const finest = 1000
	for {
		scale := big.NewRat(parts, 1)
		up := ceiling(new(big.Rat).Mul(low, scale))
		down := floor(new(big.Rat).Mul(high, scale))
		middle := floor(new(big.Rat).Add(new(big.Rat).Mul(at, scale), big.NewRat(1, 2))) // as it is printed itself
		if up.Cmp(middle) <= 0 && down.Cmp(middle) >= 0 && (up.Cmp(down) < 0 || low.Cmp(high) == 0) || parts >= finest {
			text := func(n *big.Int) string {
				v, _ := new(big.Rat).SetFrac(n, big.NewInt(parts)).Float64()
				return strconv.FormatFloat(v, 'f', -1, 64)
			}
			if up.Cmp(down) == 0 {
				return text(up)
			}
			return text(up) + " to " + text(down)
		}
		parts *= 10
	}
}

func floor(r *big.Rat) *big.Int { return new(big.Int).Div(r.Num(), r.Denom()) }

func ceiling(r *big.Rat) *big.Int {
	return new(big.Int).Neg(floor(new(big.Rat).Neg(r)))
}

// Display returns the quantity as printed with its screen spelling; degrees close
// up to the number and everything else takes a space (ISO 80000-1, from memory).
func Display(q Quantity) string {
	if q.IsZero() {
		return ""
	}
	if q.scale().Symbol == "deg" {
		return q.number + "°"
	}
	return q.number + " " + q.scale().Display
}

// roundTo rounds half away from zero to a whole number of parts and prints it plainly.
func roundTo(r *big.Rat, parts int64) string {
	q := new(big.Rat).Mul(r, big.NewRat(parts, 1))
	n := new(big.Int).Mul(q.Num(), big.NewInt(2))
	d := q.Denom()
	if q.Sign() >= 0 {
		n.Add(n, d)
	} else {
		n.Sub(n, d)
	}
	n.Quo(n, new(big.Int).Mul(d, big.NewInt(2)))
	v, _ := new(big.Rat).SetFrac(n, big.NewInt(parts)).Float64()
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// doubt is far more than doubles of this size are wrong by, and far less than a
// screen shows.
const doubt = 1e-6

// surelyRound is roundTo in doubles. Nearly every value is so far from the middle
// between two parts that they cannot be mistaken about it; where one is not, ok is
// false and exact arithmetic, which costs thirty times as much, has to decide.
func surelyRound(v float64, parts int64) (s string, ok bool) {
	v *= float64(parts)
	n := math.Round(v)
	if math.Abs(math.Abs(v-n)-0.5) < doubt || !(math.Abs(v) < 1e6) {
		return "", false
	}
	if n == 0 {
		n = 0 // not -0
	}
	return strconv.FormatFloat(n/float64(parts), 'f', -1, 64), true
}
