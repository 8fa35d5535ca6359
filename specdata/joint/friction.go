package joint

import (
	"fmt"
	"strconv"
	"strings"

	"proofload/specdata"
)

// Mu is a pair of friction coefficients: in the thread and under the part that turns.
type Mu struct{ Thread, Head float64 }

// Same is one coefficient for thread and seat, as the tables are made.
func Same(mu float64) Mu { return Mu{mu, mu} }

// Band is a range of friction coefficients with the value most tables would take.
type Band struct {
	Low, Typical, High float64
	// From says where the band comes from.
	From string
	// Assumed says that nobody stated it.
	Assumed bool
}

// IsZero reports whether there is no band.
func (b Band) IsZero() bool { return b.High == 0 }

// Bands per surface. The VDI 2230 table A5 classes (testdata/reference/friction.csv)
// are A 0.04–0.10, B 0.08–0.16, C 0.14–0.24, D 0.20–0.35, E over 0.30. The bands
// here are narrower where the trade's own notes are: oiled 0.08–0.12, as received
// 0.10–0.16, dry up to 0.20, in line with the ±25 % (lubricated) and ±35 % (not)
// preload scatter of NASA-STD-5020. The typical values and the greased band are
// common practice, no source.
var steelBands = map[string]Band{
	"oiled":       {0.08, 0.10, 0.12, "oiled steel, in VDI 2230 class B", false},
	"greased":     {0.06, 0.09, 0.12, "greased steel, between VDI 2230 classes A and B (common practice)", false},
	"compound":    {0.08, 0.12, 0.16, "compound on steel, VDI 2230 class B", false},
	"as-received": {0.10, 0.12, 0.16, "as received, VDI 2230 class B from its middle", false},
	"precoated":   {0.10, 0.12, 0.16, "precoated, taken as as received (common practice)", false},
	"threadlock":  {0.10, 0.12, 0.16, "threadlock, wet, taken as as received (common practice)", false},
	"dry":         {0.12, 0.14, 0.20, "dry steel, VDI 2230 classes B to C", false},

	"zinc-flake":     {0.08, 0.12, 0.16, "zinc flake with the lubricant of its coat, VDI 2230 class B", false},
	"zinc-flake-dry": {0.14, 0.19, 0.24, "zinc flake without lubricant, VDI 2230 class C", false},

	"": {0.10, 0.12, 0.20, "surface not stated: as received to dry assumed", true},
}

// stainlessBands are wider and higher: austenitic steel galls (VDI 2230 table A5:
// class C with paste or wax, D with oil, E without anything).
var stainlessBands = map[string]Band{
	"oiled":       {0.20, 0.25, 0.35, "oiled stainless, VDI 2230 class D", false},
	"greased":     {0.14, 0.20, 0.24, "stainless with paste, VDI 2230 class C", false},
	"compound":    {0.14, 0.20, 0.24, "stainless with paste, VDI 2230 class C", false},
	"as-received": {0.20, 0.30, 0.40, "stainless as received, VDI 2230 classes D to E", false},
	"precoated":   {0.14, 0.20, 0.24, "coated stainless, VDI 2230 class C", false},
	"threadlock":  {0.14, 0.20, 0.35, "stainless with threadlock, VDI 2230 classes C to D", false},
	"dry":         {0.30, 0.35, 0.50, "dry stainless, VDI 2230 class E (no upper end; 0.50 taken)", false},

	"zinc-flake":     {0.08, 0.12, 0.16, "zinc flake with the lubricant of its coat, VDI 2230 class B whatever is under it", false},
	"zinc-flake-dry": {0.14, 0.19, 0.24, "zinc flake without lubricant, VDI 2230 class C whatever is under it", false},

	"": {0.14, 0.25, 0.50, "surface not stated: any stainless surface assumed", true},
}

// SurfaceBand returns the friction band of a surface condition, one of
// specdata.SurfaceConditions or "" for not stated. An unknown condition is an error.
func SurfaceBand(condition string, f Family) (Band, error) {
	m := steelBands
	if f == Stainless {
		m = stainlessBands
	}
	if b, ok := m[condition]; ok {
		return b, nil
	}
	return Band{}, fmt.Errorf("surface condition %q has no friction band; allowed: %s", clip(condition), strings.Join(specdata.SurfaceConditions, ", "))
}

// Widest is the band a seat or thread gets when only the other one's condition is stated.
func widest(f Family) Band {
	b, err := SurfaceBand("", f)
	if err != nil {
		return Band{}
	}
	return b
}

// The friction that a record may state: less than the least slides by itself, more than
// the most is none of a lubricated or plated thread (common practice, no source).
const leastFriction, mostFriction = 0.02, 1

// ParseBand reads a record's own friction band, "0.10..0.14", or a single value.
func ParseBand(s string) (Band, error) {
	lo, hi, two := strings.Cut(s, "..")
	if !two {
		hi = lo
	}
	a, errA := strconv.ParseFloat(lo, 64)
	b, errB := strconv.ParseFloat(hi, 64)
	if errA != nil || errB != nil {
		return Band{}, fmt.Errorf("friction %q is not a band; write it like \"0.10..0.14\"", clip(s))
	}
	// Negated so that NaN is refused too.
	if !(a >= leastFriction && a <= b && b <= mostFriction) {
		return Band{}, fmt.Errorf("friction band %q is impossible; the low end comes first and both lie from %v to %v", clip(s), leastFriction, float64(mostFriction))
	}
	return Band{Low: a, Typical: (a + b) / 2, High: b, From: "stated by the record"}, nil
}

// NutFactor is K in T = K·d·F for the full torque equation at mu. It is the
// cross-check with the workshop form: K = 0.20 stands for µ near 0.15, not for
// "steel".
func NutFactor(t Thread, b Bearing, mu Mu) float64 { return Lever(t, b, mu) / t.Major }

// FrictionFor is the one coefficient, in thread and under the head, at which the
// full torque equation has the nut factor k. It is negative where k is below what
// the pitch alone needs.
func FrictionFor(t Thread, b Bearing, k float64) float64 {
	return (k*t.Major - t.Pitch/(2*pi)) / (t.flank()*t.PitchDiameter() + b.EffectiveDiameter()/2)
}
