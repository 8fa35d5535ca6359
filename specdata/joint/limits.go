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
// strips a little later, never earlier.
func (t Thread) Limits() Limits {
	if t.Metric() {
		return t.iso965()
	}
	return t.asmeB11()
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

// asmeB11 returns the class 2A/2B limits by the formulas of ASME B1.1 section 5
// (formulas from memory; testdata/reference/unified_threads.csv confirms them to
// its last digit), with the length of engagement taken as one diameter, rounded as
// the standard prints them: to 0.0001 in, the internal minor diameter to 0.001 in.
func (t Thread) asmeB11() Limits {
	d, p := t.Major/inch, t.Pitch/inch
	p23 := math.Cbrt(p * p)
	td2 := 0.0015*math.Cbrt(d) + 0.0015*math.Sqrt(d) + 0.015*p23 // pitch diameter tolerance, class 2A
	es := 0.3 * td2                                              // allowance, class 2A
	td := 0.06 * p23                                             // major diameter tolerance, class 2A
	td1 := 0.25*p - 0.4*p*p                                      // minor diameter tolerance, 1/4 in and over
	if d < 0.25 {
		td1 = max(td1, min(0.05*p23+0.03*p/d-0.002, 0.394*p))
	}
	e2, k1 := d-pitchPP*p, d-minorPP*p
	in := func(x, step float64) float64 { return round(x, step) * inch }
	return Limits{
		ExternalMajorMax: in(d-es, 1e-4), ExternalMajorMin: in(d-es-td, 1e-4),
		ExternalPitchMax: in(e2-es, 1e-4), ExternalPitchMin: in(e2-es-td2, 1e-4),
		InternalMinorMin: in(k1, 1e-3), InternalMinorMax: in(k1+td1, 1e-3),
		InternalPitchMin: in(e2, 1e-4), InternalPitchMax: in(e2+1.3*td2, 1e-4), // class 2B: 1.3·Td2
	}
}

// round returns x in whole steps.
func round(x, step float64) float64 { return math.Round(x/step) * step }
