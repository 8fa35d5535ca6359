package joint

import "math"

// Limits are the limits of size of a thread pair, in m, that decide how much
// metric or inch thread is sheared when it strips: the smallest external and the
// largest internal thread that a gauge still passes.
type Limits struct {
	ExternalMajorMax, ExternalMajorMin float64 // d
	ExternalPitchMax, ExternalPitchMin float64 // d2
	InternalMinorMin, InternalMinorMax float64 // D1
	InternalPitchMin, InternalPitchMax float64 // D2
}

// Limits returns the limits for 6g/6H (metric, ISO 965-1) or 2A/2B (unified,
// ASME B1.1), whatever tolerance class the designation carries: a closer class
// strips a little later, never earlier. Other threads have none here: zero Limits.
func (t Thread) Limits() Limits {
	switch {
	case t.Metric():
		return t.iso965()
	case t.Unified():
		return t.asmeB11()
	}
	return Limits{}
}

// byPitch holds the ISO 965-1 values that depend on the pitch alone, in µm:
// fundamental deviation es of position g, major diameter tolerance Td grade 6 and
// minor diameter tolerance TD1 grade 6. From memory; the formulas behind the
// table (es = −(15 + 11·P), Td = 180·P^⅔ − 3.15/√P, TD1 = 433·P − 190·P^1.22 or
// 230·P^0.7, rounded to R 40) reproduce it only up to the rounding, so the table
// stands and testdata/reference/metric_threads.csv confirms it for every pitch
// used there.
var byPitch = []struct{ pitch, es, major, minor float64 }{
	{0.35, 19, 85, 100}, {0.5, 20, 106, 140}, {0.6, 21, 125, 160}, {0.7, 22, 140, 180},
	{0.75, 22, 140, 190}, {0.8, 24, 150, 200}, {1, 26, 180, 236}, {1.25, 28, 212, 265},
	{1.5, 32, 236, 300}, {1.75, 34, 265, 335}, {2, 38, 280, 375}, {2.5, 42, 335, 450},
	{3, 48, 375, 500}, {3.5, 53, 425, 560}, {4, 60, 475, 600},
}

// byRange holds the ISO 965-1 pitch diameter tolerances grade 6 in µm, external
// Td2 (= 90·P^0.4·d^0.1) and internal TD2 (= 1.32·Td2), which depend on the range
// of diameters and the pitch. From memory, confirmed like byPitch.
var byRange = []struct{ upTo, pitch, ext, int float64 }{
	{5.6, 0.35, 67, 90}, {5.6, 0.5, 75, 100}, {5.6, 0.6, 85, 112}, {5.6, 0.7, 90, 118}, {5.6, 0.75, 90, 118}, {5.6, 0.8, 95, 125},
	{11.2, 0.75, 100, 132}, {11.2, 1, 112, 150}, {11.2, 1.25, 118, 160}, {11.2, 1.5, 132, 180},
	{22.4, 1, 118, 160}, {22.4, 1.25, 132, 180}, {22.4, 1.5, 140, 190}, {22.4, 1.75, 150, 200}, {22.4, 2, 160, 212}, {22.4, 2.5, 170, 224},
	{45, 1, 125, 170}, {45, 1.5, 150, 200}, {45, 2, 170, 224}, {45, 3, 200, 265}, {45, 3.5, 212, 280}, {45, 4, 224, 300},
}

func (t Thread) iso965() Limits {
	const um = 1e-6
	p, d := t.Pitch/millimetre, t.Major/millimetre
	var es, td, td1, td2, tD2 float64
	for i := range byPitch {
		if r := &byPitch[i]; math.Abs(r.pitch-p) < 1e-6 {
			es, td, td1 = r.es*um, r.major*um, r.minor*um
			break
		}
	}
	for i := range byRange {
		if r := &byRange[i]; d <= r.upTo && math.Abs(r.pitch-p) < 1e-6 {
			td2, tD2 = r.ext*um, r.int*um
			break
		}
	}
	// ISO 965-2 rounds the basic diameters to a micrometre before it goes on.
	d2, d1 := round(t.PitchDiameter(), um), round(t.InternalMinor(), um)
	return Limits{
		ExternalMajorMax: t.Major - es, ExternalMajorMin: t.Major - es - td,
		ExternalPitchMax: d2 - es, ExternalPitchMin: d2 - es - td2,
		InternalMinorMin: d1, InternalMinorMax: d1 + td1,
		InternalPitchMin: d2, InternalPitchMax: d2 + tD2,
	}
}

// The factors of ASME B1.1 section 5 for inches (from memory).
const (
	b11Diameter, b11Root, b11Pitch = 0.0015, 0.0015, 0.015 // pitch diameter tolerance class 2A: of ∛d, √d and ∛p²
	b11Allowance                   = 0.3                   // allowance class 2A, of that tolerance
	b11Major                       = 0.06                  // major diameter tolerance class 2A, of ∛p²
	b11Minor, b11MinorSquare       = 0.25, 0.4             // minor diameter tolerance, of p and p², from b11Small
	b11Small                       = 0.25                  // in; under it the next four count
	b11SmallPitch, b11SmallRatio   = 0.05, 0.03            // of ∛p² and p/d
	b11SmallLess, b11SmallMost     = 0.002, 0.394          // in, and of p
	b11Internal                    = 1.3                   // pitch diameter tolerance class 2B over 2A
	b11Step, b11MinorStep          = 1e-4, 1e-3            // in, as the standard prints
)

// asmeB11 returns the class 2A/2B limits by the formulas of ASME B1.1 section 5
// (formulas from memory; testdata/reference/unified_threads.csv confirms them to
// its last digit), with the length of engagement taken as one diameter, rounded as
// the standard prints them: to 0.0001 in, the internal minor diameter to 0.001 in.
func (t Thread) asmeB11() Limits {
	d, p := t.Major/inch, t.Pitch/inch
	p23 := math.Cbrt(p * p)
	td2 := b11Diameter*math.Cbrt(d) + b11Root*math.Sqrt(d) + b11Pitch*p23
	es := b11Allowance * td2
	td := b11Major * p23
	td1 := b11Minor*p - b11MinorSquare*p*p
	if d < b11Small {
		td1 = max(td1, min(b11SmallPitch*p23+b11SmallRatio*p/d-b11SmallLess, b11SmallMost*p))
	}
	e2, k1 := d-pitchPP*p, d-minorPP*p
	in := func(x, step float64) float64 { return round(x, step) * inch }
	return Limits{
		ExternalMajorMax: in(d-es, b11Step), ExternalMajorMin: in(d-es-td, b11Step),
		ExternalPitchMax: in(e2-es, b11Step), ExternalPitchMin: in(e2-es-td2, b11Step),
		InternalMinorMin: in(k1, b11MinorStep), InternalMinorMax: in(k1+td1, b11MinorStep),
		InternalPitchMin: in(e2, b11Step), InternalPitchMax: in(e2+b11Internal*td2, b11Step),
	}
}

// round returns x in whole steps.
func round(x, step float64) float64 { return math.Round(x/step) * step }
