package joint

import "math"

// Thread is one thread of a standard series with the ISO 68-1 (or, with the same
// profile, ASME B1.1) 60° basic profile. The zero Thread is no thread.
type Thread struct {
	// Major is the nominal diameter d, in m.
	Major float64
	// Pitch is the axial distance of two crests P, in m.
	Pitch float64
	// Series is the series it belongs to.
	Series Series
	// LeftHand says that it tightens anticlockwise.
	LeftHand bool
	// Tolerance is the tolerance class as written ("6g", "2A"); empty means the
	// usual one, 6g/6H or 2A/2B.
	Tolerance string

	size, step string // printed size and pitch (or threads per inch)
	selected   bool
}

// IsZero reports whether there is no thread.
func (t Thread) IsZero() bool { return t.Series == NoSeries }

// Metric reports whether the thread is of the ISO metric series.
func (t Thread) Metric() bool { return t.Series == Coarse || t.Series == Fine }

// Selected reports whether the thread is in the selection of ISO 262 for screws,
// bolts and nuts. A thread that is only in ISO 261 exists but is unusual on a
// bolt; collar nuts and plugs use such threads. Unified threads are all selected.
func (t Thread) Selected() bool { return t.selected }

// String returns the canonical designation, always with the pitch: "M10x1.5",
// "M14x1.5-6g LH", "7/16-20 UNF", "#10-24 UNC-2A". ParseThread reads it back.
func (t Thread) String() string {
	var s string
	switch {
	case t.IsZero():
		return ""
	case t.Metric():
		s = "M" + t.size + "x" + t.step
	default:
		s = t.size + "-" + t.step + " " + t.Series.String()
	}
	if t.Tolerance != "" {
		s += "-" + t.Tolerance
	}
	if t.LeftHand {
		s += " LH"
	}
	return s
}

// Size returns the size without the pitch: "M10", "7/16".
func (t Thread) Size() string {
	if t.Metric() {
		return "M" + t.size
	}
	return t.size
}

// Factors of the 60° profile of ISO 68-1, with H = P·√3/2.
const (
	sqrt3    = 1.7320508075688772
	heightPP = sqrt3 / 2            // H/P
	pitchPP  = 0.75 * heightPP      // (d − d2)/P = 2·3H/8 = 0.649519 (ISO 724)
	minorPP  = 1.25 * heightPP      // (d − D1)/P = 2·5H/8 = 1.082532 (ISO 724)
	rootPP   = heightPP * 17.0 / 12 // (d − d3)/P = 2·17H/24 = 1.226869 (ISO 898-1, d3 = d1 − H/6)
	unRootPP = heightPP * 9.0 / 8   // 0.974279: ASME B1.1 prints At = π/4·(D − 0.9743/n)²
	unMinor  = heightPP * 1.5       // 1.299038: D − 2·(3/4)·H, the minor diameter of ASME B1.1
	plastic  = 12.0                 // polar section modulus π·d³/12, fully plastic torsion
	elastic  = 16.0                 // polar section modulus π·d³/16, elastic torsion
	flank60  = 0.5773502691896258   // 1/(2·cos 30°) = 0.57735, the 0.577 (VDI prints 0.58) of the torque equation
)

// Height is the height of the fundamental triangle H = P·√3/2 in m (ISO 68-1).
func (t Thread) Height() float64 { return heightPP * t.Pitch }

// PitchDiameter is the basic pitch diameter d2 = D2 = d − 0.649519·P in m (ISO 724).
func (t Thread) PitchDiameter() float64 { return t.Major - pitchPP*t.Pitch }

// InternalMinor is the basic minor diameter of the internal thread
// D1 = d − 1.082532·P in m (ISO 724).
func (t Thread) InternalMinor() float64 { return t.Major - minorPP*t.Pitch }

// RootDiameter is the root diameter of the external thread d3 = d − 1.226869·P in m
// (ISO 898-1, ISO 68-1 profile with a rounded root of H/6).
func (t Thread) RootDiameter() float64 { return t.Major - rootPP*t.Pitch }

// StressDiameter is the diameter in m of the circle with the stress area: for
// metric threads ds = (d2 + d3)/2 (ISO 898-1, 9.1.6.1), for unified ones
// D − 0.9743/n (ASME B1.1 appendix B). For the same profile they differ by less
// than 0.04·P.
func (t Thread) StressDiameter() float64 {
	if t.Metric() {
		return t.Major - (pitchPP+rootPP)/2*t.Pitch
	}
	return t.Major - unRootPP*t.Pitch
}

// StressArea is the nominal stress area in m²: As = π/4·((d2 + d3)/2)² (ISO 898-1)
// or At = π/4·(D − 0.9743/n)² (ASME B1.1).
func (t Thread) StressArea() float64 { return circle(t.StressDiameter()) }

// RootArea is the area in m² over the root diameter: over d3 for metric threads,
// over D − 1.3·P for unified ones (ASME B1.1 minor diameter area, taken at
// D − 2·(3/4)·H).
func (t Thread) RootArea() float64 {
	if t.Metric() {
		return circle(t.RootDiameter())
	}
	return circle(t.Major - unMinor*t.Pitch)
}

// Lead is the lead angle at the pitch diameter, φ = atan(P/(π·d2)), in rad.
func (t Thread) Lead() float64 { return math.Atan(t.Pitch / (math.Pi * t.PitchDiameter())) }

func circle(d float64) float64 { return math.Pi / 4 * d * d }
