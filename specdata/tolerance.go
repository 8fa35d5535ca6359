package specdata

import "math"

// AssumedTolerance is the tolerance about a torque whose record prints none: ±10 %
// (TM 9-2320-362-14&P, appendix F, as records-and-slips quotes it).
const AssumedTolerance = 0.10

// Bounds returns the least and the greatest torque in N·m that a stage allows under a
// tightening's tolerance: the printed range, else the torque less and plus its
// tolerance, assumed where none is printed. Both are NaN for a stage without torque.
func (t *Tightening) Bounds(s *Stage) (low, high float64) {
	torque := s.Torque.SI()
	if !s.UpTo.IsZero() {
		return torque, s.UpTo.SI()
	}
	margin := torque * AssumedTolerance
	switch t.Tolerance.Dimension() {
	case Torque:
		margin = t.Tolerance.SI()
	case Fraction:
		margin = torque * t.Tolerance.SI()
	}
	return math.Max(0, torque-margin), torque + margin
}
