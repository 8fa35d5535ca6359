package joint

import "math"

// Slip is a way in which a torque goes wrong by a fixed factor while people carry
// it from paper to paper.
type Slip struct {
	// Factor is the wrong value over the right one.
	Factor float64
	// What says what happened.
	What string
}

// Factors between torque units (NIST SP 811).
const (
	footPound    = 12 * PoundInch // N·m
	kilopondFeet = 9.80665 / footPound
)

// Slips lists the tell-tale factors, the commonest first. A value may have been
// converted after it was misread, so the unit it is printed in now rules none of
// them out. US Army TB 43-0218 and the US Navy's torque-wrench courses warn of the
// factor 12; the others are the ratios of the units in use, their squares and lost
// decimal points (common practice).
var Slips = []Slip{
	{12, "a value in lbf·in was taken for lbf·ft"},
	{1 / footPound, "a value in lbf·ft was taken for N·m"},
	{footPound, "a value in N·m was taken for lbf·ft"},
	{10, "the decimal point was lost"},
	{0.1, "a digit was lost"},
	{1 / 9.80665, "a value in kgf·m was taken for N·m"},
	{9.80665, "a value in N·m was taken for kgf·m"},
	{footPound * footPound, "the value was converted twice, or the wrong way"},
	{1 / (footPound * footPound), "the value was converted twice, or the wrong way"},
	{1 / PoundInch, "a value in lbf·in was taken for N·m"},
	{PoundInch, "a value in N·m was taken for lbf·in"},
	{1.0 / 12, "a value in lbf·ft was taken for lbf·in"},
	{1 / kilopondFeet, "a value in kgf·m was taken for lbf·ft"},
	{kilopondFeet, "a value in lbf·ft was taken for kgf·m"},
	{100, "the decimal point was lost twice"},
	{0.01, "two digits were lost"},
	{1000, "a decimal comma was read as a thousands mark"},
	{0.001, "a thousands mark was read as a decimal comma"},
}

// alikeMends is how near two mended torques count as one, as a fraction, and mostMends
// how many are worth reading (common practice, no source).
const alikeMends, mostMends = 0.03, 3

// rare is where in Slips those begin that are rarer than digits changing places.
const rare = 11

// SlipOf finds the slip whose factor is nearest to ratio, wrong over right, and
// within a fraction of it; of two as near, the commoner.
func SlipOf(ratio, within float64) (Slip, bool) {
	best, off := Slip{}, math.Inf(1)
	if !(ratio > 0) {
		return best, false
	}
	for _, s := range Slips {
		if d := math.Abs(math.Log(ratio / s.Factor)); d < off-1e-12 && d <= math.Log1p(within) {
			best, off = s, d
		}
	}
	return best, off < math.Inf(1)
}

// Mended is what a torque may have been before a slip.
type Mended struct {
	// Torque is in N·m.
	Torque float64
	What   string
}

// Mend lists the readings of the judged torque that would be good, likeliest
// first, at most three: a slip undone, or two neighbouring digits changed back.
// digits is the torque as printed and perDigit what one of its unit is in N·m;
// with no digits only the slips are tried.
func (v *Verdict) Mend(digits string, perDigit float64) []Mended {
	var out []Mended
	try := func(torque float64, what string) {
		if len(out) == mostMends || !v.goodAt(torque) {
			return
		}
		for _, m := range out {
			if math.Abs(torque/m.Torque-1) < alikeMends {
				return // the commoner slip explains it
			}
		}
		out = append(out, Mended{torque, what})
	}
	torque := v.Input.Torque
	if digits != "" {
		torque = number(digits) * perDigit
	}
	for i, s := range Slips {
		if i == rare {
			for _, n := range Transpositions(digits) {
				try(number(n)*perDigit, "two digits changed places")
			}
		}
		if s.Factor > 1 == (v.Class >= High) {
			try(torque/s.Factor, s.What)
		}
	}
	return out
}

// Usual is the torque in N·m that a tightening table would give the bolt at the
// usual friction: 90 % of yield (VDI 2230 table A1). It is 0 where nothing was judged.
func (v *Verdict) Usual() float64 {
	p := &v.Input
	if v.Against.IsZero() {
		return 0
	}
	return p.DragLow + YieldTorque(p.Thread, p.Bearing, Mu{p.ThreadBand.Typical, p.HeadBand.Typical}, TableUtilisation*v.Against.Yield)
}

// goodAt reports whether another torque would lie inside the window: enough to
// clamp, and no more than a table would ask.
func (v *Verdict) goodAt(torque float64) bool {
	upTo := max(v.Window.High.Torque, v.Usual())
	least := v.Window.Low.Torque
	if least == 0 {
		least = SlackShare * upTo // plugs and bearings are right far lower
	}
	return torque >= least && torque <= upTo
}

// Transpositions lists the numbers that printed digits give when two neighbours
// change places: 310 may have been 130. A number that would start with 0 is left out.
func Transpositions(digits string) []string {
	var out []string
	b := []byte(digits)
	for i := 0; i+1 < len(b); i++ {
		if b[i] == b[i+1] || b[i] == '.' || b[i+1] == '.' {
			continue
		}
		b[i], b[i+1] = b[i+1], b[i]
		if b[0] != '0' || b[1] == '.' {
			out = append(out, string(b))
		}
		b[i], b[i+1] = b[i+1], b[i]
	}
	return out
}
