package joint

import "math"

// Resilience is how much a part gives per newton, in m/N (VDI 2230: δ).
type Resilience struct{ Bolt, Joint float64 }

// Sum is the resilience of the whole, through which an angle becomes a clamp load.
func (r Resilience) Sum() float64 { return r.Bolt + r.Joint }

// Substitute lengths of the parts of a bolt that have no length of their own, in
// diameters (VDI 2230 table 5.1/1, from memory).
const (
	headLength    = 0.5  // the head
	engagedLength = 0.5  // the engaged thread
	nutLength     = 0.4  // the nut
	tappedLength  = 0.33 // the tapped hole
)

// BoltResilience is δS in m/N of a bolt with the clamped length grip in m, of
// which shank m has the full diameter and the rest is thread (VDI 2230 section
// 5.1.1, substitute lengths of table 5.1/1, from memory):
//
//	δS = (0.5·d/A + shank/A + (grip − shank)/A3 + 0.5·d/A3 + c·d/A)/E
//
// with A over d, A3 over d3, and c = 0.4 for a nut, 0.33 for a tapped hole.
func BoltResilience(t Thread, grip, shank float64, tapped bool, f Family) float64 {
	a, a3 := circle(t.Major), circle(t.RootDiameter())
	c := nutLength
	if tapped {
		c = tappedLength
	}
	shank = min(shank, grip)
	return ((headLength+c)*t.Major/a + shank/a + (grip-shank)/a3 + engagedLength*t.Major/a3) / f.Elasticity()
}

// cone is how wide the pressure cone opens: tan φ = base + slender·ln β + wide·ln y
// (VDI 2230:2003 equations 5.1/26 and 5.1/27, from memory).
type cone struct{ base, slender, wide float64 }

var throughCone, tappedCone = cone{0.362, 0.032, 0.153}, cone{0.348, 0.013, 0.193}

// The range of tan φ that the fit was made for, and where its two rounds begin.
const leastCone, mostCone, firstCone = 0.3, 0.7, 0.5

func (c cone) tan(beta, y float64) float64 {
	return min(max(c.base+c.slender*math.Log(beta)+c.wide*math.Log(y), leastCone), mostCone)
}

// JointResilience is δP in m/N of the clamped parts with the length grip in m and
// Young's modulus e in Pa, when they are wide enough for the whole pressure cone
// (VDI 2230:2003 equations 5.1/24 to 5.1/27, from memory):
//
//	δP = 2/(w·E·π·dh·tan φ) · ln[(dw+dh)(dw+w·l·tan φ−dh) / ((dw−dh)(dw+w·l·tan φ+dh))]
//
// with w = 1 through-bolted and 2 tapped, and tan φ from the same section.
func JointResilience(b Bearing, grip float64, tapped bool, e float64) float64 {
	dw, dh := b.Outer, b.Hole
	if grip <= 0 {
		return 0
	}
	w, tan := 1.0, firstCone
	if tapped {
		w = 2
	}
	beta := grip / dw
	// The cone's own outer diameter decides its angle; two rounds settle it.
	for range 2 {
		y := (dw + w*grip*tan) / dw
		if tapped {
			tan = tappedCone.tan(beta, y)
		} else {
			tan = throughCone.tan(beta/2, y)
		}
	}
	reach := w * grip * tan
	return 2 / (w * e * pi * dh * tan) * math.Log((dw+dh)*(dw+reach-dh)/((dw-dh)*(dw+reach+dh)))
}

// AddedClamp is the clamp load in N that turning by angle in rad adds while
// everything stays elastic: F = angle/(2π)·P/(δS + δP). Windup of the shank and
// embedding are left out; both make the true load smaller.
func AddedClamp(t Thread, r Resilience, angle float64) float64 {
	return angle / (2 * pi) * t.Pitch / r.Sum()
}

// AngleFor is the angle in rad for a clamp load in N, the reverse of AddedClamp.
func AngleFor(t Thread, r Resilience, clamp float64) float64 {
	return clamp * r.Sum() / t.Pitch * 2 * pi
}

// Passing says whether a bolt goes past its yield.
type Passing uint8

// The answers.
const (
	StaysElastic Passing = iota
	MayPass
	PassesYield
)

var passingNames = [...]string{"stays elastic", "may pass yield", "passes yield"}

// String names the answer.
func (p Passing) String() string { return passingNames[min(int(p), len(passingNames)-1)] }

// Turn is what torque and angle together do.
type Turn struct {
	// Checked says that it could be worked out.
	Checked bool
	// SnugLow and SnugHigh are the clamp load in N from the torque stage.
	SnugLow, SnugHigh float64
	// AddedLow and AddedHigh are what the angle adds in N: the bolt threaded over
	// its whole grip, and with a full shank.
	AddedLow, AddedHigh float64
	// YieldLow and YieldHigh are the clamp load in N at which the bolt yields, at
	// the highest and the lowest thread friction.
	YieldLow, YieldHigh float64
	// ClampLow and ClampHigh are the clamp load in N that results, held at yield
	// where the bolt passes it: past yield a bolt gains little.
	ClampLow, ClampHigh float64
	// Passing says whether the bolt passes its yield.
	Passing Passing
	// PlasticStretch is the most the bolt is stretched beyond its yield, in m.
	PlasticStretch float64
}

// TurnOn works out a torque stage with the clamp band snugLow to snugHigh in N,
// followed by an angle in rad, for a joint with the clamped length grip in m of the
// parts of p. Where their material is not stated, the low end takes aluminium and the
// high end steel.
func TurnOn(t Thread, b Bearing, g Grade, thread Band, p Stack, snugLow, snugHigh, angle, grip float64, tapped bool) Turn {
	soft, stiff := p.resiliences(t, b, grip, tapped, g.Family)
	r := Turn{
		Checked: true, SnugLow: snugLow, SnugHigh: snugHigh,
		AddedLow: AddedClamp(t, soft, angle), AddedHigh: AddedClamp(t, stiff, angle),
		YieldLow: ClampAt(t, Mu{Thread: thread.High}, g.Yield, FullyPlastic), YieldHigh: ClampAt(t, Mu{Thread: thread.Low}, g.Yield, FullyPlastic),
	}
	low, high := snugLow+r.AddedLow, snugHigh+r.AddedHigh
	r.ClampLow, r.ClampHigh = min(low, r.YieldLow), min(high, r.YieldHigh)
	if high > r.YieldLow {
		r.Passing = MayPass
		r.PlasticStretch = (high - r.YieldLow) * stiff.Sum()
	}
	if low > r.YieldHigh {
		r.Passing = PassesYield
	}
	return r
}
