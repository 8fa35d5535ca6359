package specdata

import (
	"math/big"
	"strconv"
)

// Rounding for display, common practice, no source: N·m whole from 20 up, halves
// from 10 to 20, tenths below; lbf·ft whole from 10 lbf·ft up and lbf·in whole
// below. Always computed from the printed value, never from a rounded one.

// Metric gives the torque in N·m rounded for display, with the unit ("240 N·m").
func Metric(q Quantity) string {
	if q.unit.Symbol == "N.m" {
		return q.number + " N·m" // as printed
	}
	u, _ := LookupUnit("N.m")
	r, err := q.In(u)
	if err != nil {
		return Display(q)
	}
	f, _ := r.Float64()
	switch {
	case f >= 20 || f <= -20:
		return roundTo(r, "1") + " N·m"
	case f >= 10 || f <= -10:
		return roundTo(r, "1/2") + " N·m"
	default:
		return roundTo(r, "1/10") + " N·m"
	}
}

// Imperial gives the torque in lbf·ft, or lbf·in below 10 lbf·ft, rounded for display.
func Imperial(q Quantity) string {
	if q.unit.Symbol == "lbf.ft" || q.unit.Symbol == "lbf.in" {
		return q.number + " " + q.unit.Display
	}
	ft, _ := LookupUnit("lbf.ft")
	in, _ := LookupUnit("lbf.in")
	r, err := q.In(ft)
	if err != nil {
		return ""
	}
	if r.Cmp(big.NewRat(10, 1)) >= 0 {
		return roundTo(r, "1") + " lbf·ft"
	}
	r, _ = q.In(in)
	return roundTo(r, "1") + " lbf·in"
}

// Display gives the quantity as printed with its screen spelling; degrees close
// up to the number and everything else takes a space (ISO 80000-1, from memory).
func Display(q Quantity) string {
	if q.IsZero() {
		return ""
	}
	if q.unit.Symbol == "deg" {
		return q.number + "°"
	}
	return q.number + " " + q.unit.Display
}

// roundTo rounds half away from zero to a multiple of step and prints it plainly.
func roundTo(r *big.Rat, step string) string {
	s := ratio(step)
	q := new(big.Rat).Quo(r, s)
	n := new(big.Int).Mul(q.Num(), big.NewInt(2))
	d := q.Denom()
	if q.Sign() >= 0 {
		n.Add(n, d)
	} else {
		n.Sub(n, d)
	}
	n.Quo(n, new(big.Int).Mul(d, big.NewInt(2)))
	v, _ := new(big.Rat).Mul(new(big.Rat).SetInt(n), s).Float64()
	return strconv.FormatFloat(v, 'f', -1, 64)
}
