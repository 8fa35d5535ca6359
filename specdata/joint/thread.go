package joint

import "math"

// Thread is one thread of a standard series: with the ISO 68-1 (or, with the same
// profile, ASME B1.1) 60° basic profile, or the rounded ones of Whitworth, British
// pipe and BA threads. The zero Thread is no thread.
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
	// Bore is the bore through a hollow piece in m, Neck the least diameter of its shank
	// outside the thread; 0 means solid, and no thinner than its thread.
	Bore, Neck float64

	size, step string // printed size and pitch (or threads per inch)
	selected   bool
}

// IsZero reports whether there is no thread.
func (t Thread) IsZero() bool { return t.Series == NoSeries }

// Metric reports whether the thread is of the ISO metric series.
func (t Thread) Metric() bool { return t.Series == Coarse || t.Series == Fine }

// Unified reports whether the thread is of a unified series of ASME B1.1.
func (t Thread) Unified() bool { return t.Series >= UNC && t.Series <= UN }

// Tapered reports whether the thread seals by its own taper (ISO 7-1 R and Rc, NPT): it
// is tight by wedging, and no torque of it is a clamp load.
func (t Thread) Tapered() bool { return t.Series == PipeTaper || t.Series == NPT }

// Pipe reports whether the thread is a pipe thread, named by the bore of the pipe.
func (t Thread) Pipe() bool { return t.Series == PipeParallel || t.Tapered() }

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
	case t.Series == PipeParallel || t.Series == PipeTaper:
		s = t.step + " " + t.size
		if t.Tolerance != "" {
			s += " " + t.Tolerance
		}
		if t.LeftHand {
			s += " LH"
		}
		return s
	case t.Series == BA:
		s = t.size + " BA"
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
	switch t.Series {
	case Coarse, Fine:
		return "M" + t.size
	case PipeParallel, PipeTaper:
		return t.step + " " + t.size
	case BA:
		return t.size + " BA"
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
// Whitworth and pipe threads have d − 0.640327·P (BS 84, ISO 228-1), BA threads
// d − 0.6·P (BS 93). The basic size of a tapered pipe thread is that at its gauge plane.
func (t Thread) PitchDiameter() float64 { return t.Major - t.Series.profile().depth*t.Pitch }

// InternalMinor is the basic minor diameter of the internal thread
// D1 = d − 1.082532·P in m (ISO 724), twice the depth of the rounded profiles.
func (t Thread) InternalMinor() float64 { return t.Major - t.Series.profile().minor*t.Pitch }

// RootDiameter is the root diameter of the external thread d3 = d − 1.226869·P in m
// (ISO 898-1, ISO 68-1 profile with a rounded root of H/6); the minor diameter of the
// rounded profiles.
func (t Thread) RootDiameter() float64 { return t.Major - t.Series.profile().root*t.Pitch }

// StressDiameter is the diameter in m of the circle with the stress area: for
// metric threads ds = (d2 + d3)/2 (ISO 898-1, 9.1.6.1), for unified ones
// D − 0.9743/n (ASME B1.1 appendix B), for the rounded ones the mean of pitch and
// minor diameter (BS 1768's and BS 2470's tensile stress area, from memory). For the
// same profile the first two differ by less than 0.04·P.
func (t Thread) StressDiameter() float64 {
	if t.Unified() {
		return t.Major - unRootPP*t.Pitch
	}
	p := t.Series.profile()
	return t.Major - (p.depth+p.root)/2*t.Pitch
}

// section is the outer diameter in m of the least section that carries the load.
func (t Thread) section() float64 {
	if t.Neck > 0 {
		return min(t.Neck, t.StressDiameter())
	}
	return t.StressDiameter()
}

// NominalArea is the stress area in m² of the thread, solid: what a nut is proved with.
func (t Thread) NominalArea() float64 { return circle(t.StressDiameter()) }

// twist is A/W in 1/m, the area over the section modulus in torsion: 3/d for a solid
// round one where the torsion is fully plastic (W = π·d³/12), and for a hollow one
// 3·(d² − b²)/(d³ − b³). Elastic torsion has W = π·(d⁴ − b⁴)/(16·d).
func (t Thread) twist(k Torsion) float64 {
	d, b := t.section(), t.Bore
	if k == Elastic {
		return elastic / 4 * d * (d*d - b*b) / (d*d*d*d - b*b*b*b)
	}
	return plastic / 4 * (d*d - b*b) / (d*d*d - b*b*b)
}

// flank is 1/(2·cos β) with the half flank angle β: what thread friction is multiplied with.
func (t Thread) flank() float64 { return t.Series.profile().flank }

// StressArea is the nominal stress area in m²: As = π/4·((d2 + d3)/2)² (ISO 898-1)
// or At = π/4·(D − 0.9743/n)² (ASME B1.1), less the bore of a hollow piece and over
// the neck of one that is thinner than its thread (VDI 2230 A0).
func (t Thread) StressArea() float64 { return circle(t.section()) - circle(t.Bore) }

// RootArea is the area in m² over the root diameter: over d3 for metric threads,
// over D − 1.3·P for unified ones (ASME B1.1 minor diameter area, taken at
// D − 2·(3/4)·H).
func (t Thread) RootArea() float64 {
	if t.Unified() {
		return circle(t.Major - unMinor*t.Pitch)
	}
	return circle(t.RootDiameter())
}

// Lead is the lead angle at the pitch diameter, φ = atan(P/(π·d2)), in rad.
func (t Thread) Lead() float64 { return math.Atan(t.Pitch / (math.Pi * t.PitchDiameter())) }

func circle(d float64) float64 { return math.Pi / 4 * d * d }
