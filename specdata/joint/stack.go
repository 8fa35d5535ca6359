package joint

// Clamped is a material of clamped parts, as a record names it: a band of what it bears
// under a head in Pa, Young's modulus in Pa and its expansion in 1/K.
type Clamped struct {
	Name                      string
	PressureLow, PressureHigh float64
	Elasticity, Expansion     float64
}

// IsZero reports whether the material is not known.
func (c Clamped) IsZero() bool { return c.Name == "" }

// clampedMaterials: the pressures are the lowest and the highest that
// testdata/reference/surface_pressure.csv has for the material (VDI 2230 of 2003 and
// 1986, from a republication); brass, and modulus and expansion of all, are from memory
// (VDI 2230 table A9). Plastic is in no table: what it bears is not judged.
var clampedMaterials = []Clamped{
	{"steel", 260 * mpa, 1080 * mpa, 205e9, 11.1e-6},
	{"cast-iron", 480 * mpa, 1100 * mpa, 110e9, 10e-6},
	{"aluminium", 220 * mpa, 410 * mpa, 70e9, 23.4e-6},
	{"magnesium", 140 * mpa, 280 * mpa, 44e9, 27e-6},
	{"brass", 200 * mpa, 400 * mpa, 105e9, 18.5e-6},
	{"plastic", 0, 0, 5e9, 60e-6},
}

// ClampedOf looks up a material as records name it.
func ClampedOf(name string) (Clamped, bool) {
	for _, c := range clampedMaterials {
		if c.Name == name {
			return c, true
		}
	}
	return Clamped{}, false
}

// expansion is that of a bolt in 1/K (VDI 2230 table A9, from memory).
func (f Family) expansion() float64 {
	if f == Stainless {
		return stainlessExpansion
	}
	return steelExpansion
}

const stainlessExpansion, steelExpansion = 16.5e-6, 11.1e-6

// softModulus is Young's modulus in Pa of the softest that is commonly clamped, aluminium.
const softModulus = 70e9

// Stack is what lies between the seat and the thread.
type Stack struct {
	// Of is the material, zero where it is not stated.
	Of Clamped
	// Parts is how many parts lie on each other, at least 1.
	Parts int
	// Painted says that paint lies in a joint face.
	Painted bool
	// Width is the outer diameter of a sleeve or boss in m, 0 for wide parts.
	Width float64
	// Rise is how much warmer the joint runs than it is tightened, in K.
	Rise float64
}

// resiliences are the resilience at its softest, the bolt threaded over its whole grip,
// and at its stiffest, with a full shank.
func (p *Stack) resiliences(t Thread, b Bearing, grip float64, tapped bool, f Family) (soft, stiff Resilience) {
	low, high := p.Of.Elasticity, p.Of.Elasticity
	if p.Of.IsZero() {
		low, high = softModulus, Steel.Elasticity()
	}
	if b.Wedge > 0 {
		b.Wedge = 0
	}
	soft = Resilience{BoltResilience(t, grip, 0, tapped, f), SleeveResilience(b, grip, p.Width, tapped, low)}
	stiff = Resilience{BoltResilience(t, grip, grip, tapped, f), SleeveResilience(b, grip, p.Width, tapped, high)}
	return soft, stiff
}

// thinSleeve is the most of a sleeve's width that its hole is taken for.
const thinSleeve = 0.9

// SleeveResilience is δP in m/N of a sleeve or boss with the outer diameter width in m:
// l/(E·A) of a plain cylinder (textbooks), and no less than that of wide parts, whose
// pressure cone it cuts short. 0 means wide parts: JointResilience.
func SleeveResilience(b Bearing, grip, width float64, tapped bool, e float64) float64 {
	wide := JointResilience(b, grip, tapped, e)
	if width <= 0 || grip <= 0 {
		return wide
	}
	return max(wide, grip/(e*(circle(width)-circle(min(b.Hole, thinSleeve*width)))))
}

// Embedding is what a joint loses as its faces settle.
type Embedding struct {
	// Checked says that it could be worked out.
	Checked bool
	// LossLow and LossHigh are the clamp load in N that is lost.
	LossLow, LossHigh float64
	// Share is the most that is lost over the clamp load at the usual friction.
	Share float64
}

// The settling in m of VDI 2230 table 5.4/1 (from memory): of the thread, of each face
// under head or nut and of each inner face, for fine faces pulled and for rough ones
// sheared.
const (
	settleThread                   = 3e-6
	settleSeatFine, settleSeatHard = 2.5e-6, 6.5e-6
	settleFaceFine, settleFaceHard = 1.5e-6, 3.5e-6
	// Paint that flows out of a joint face: common practice, no source.
	paintThin, paintThick = 10e-6, 40e-6
)

// settling is the band of settling in m of a stack.
func (p *Stack) settling(tapped bool) (low, high float64) {
	seats, faces := 2.0, float64(max(p.Parts, 1)-1)
	if tapped {
		seats, faces = 1, float64(max(p.Parts, 1))
	}
	low = settleThread + seats*settleSeatFine + faces*settleFaceFine
	high = settleThread + seats*settleSeatHard + faces*settleFaceHard
	if p.Painted {
		low, high = low+paintThin, high+paintThick
	}
	return low, high
}

// Embed works out what a joint with the clamp load in N loses by settling: fZ/(δS + δP)
// (VDI 2230 R4).
func Embed(t Thread, b Bearing, p Stack, f Family, grip, clamp float64, tapped bool) Embedding {
	soft, stiff := p.resiliences(t, b, grip, tapped, f)
	low, high := p.settling(tapped)
	e := Embedding{Checked: true, LossLow: low / soft.Sum(), LossHigh: high / stiff.Sum()}
	if clamp > 0 {
		e.Share = e.LossHigh / clamp
	}
	return e
}

// Thermal is the clamp load in N that a joint gains as it grows warm, negative where it
// loses: (αP − αS)·ΔT·l/(δS + δP) (VDI 2230 R4, bolt and parts at one temperature).
func Thermal(t Thread, b Bearing, p Stack, f Family, grip float64, tapped bool) (low, high float64) {
	soft, stiff := p.resiliences(t, b, grip, tapped, f)
	grown := (p.Of.Expansion - f.expansion()) * p.Rise * grip
	return grown / soft.Sum(), grown / stiff.Sum()
}

// Pressure is what the face under head or nut presses with.
type Pressure struct {
	// Checked says that it could be worked out.
	Checked bool
	// Face is the ring that presses.
	Face Bearing
	// Low, Usual and High are the pressure in Pa at the highest, the usual and the lowest friction.
	Low, Usual, High float64
	// LimitLow and LimitHigh are what the material bears in Pa: the weakest and the
	// strongest that bears its name.
	LimitLow, LimitHigh float64
	// Over says that even the lowest pressure is over the highest limit, MayBe that the
	// usual one is over the lowest of a soft metal. Steel and cast iron bear from 260 to
	// over 1000 MPa by their kind, so that for them the lowest limit says nothing.
	Over, MayBe bool
}

// softest is the pressure in Pa that no soft metal bears: between light alloy and steel.
const softest = 500 * mpa

// Press works out the pressure of a clamp load band in N on a ring.
func Press(face Bearing, on Clamped, low, usual, high float64) Pressure {
	a := circle(face.Outer) - circle(face.Hole)
	p := Pressure{Checked: true, Face: face, Low: low / a, Usual: usual / a, High: high / a, LimitLow: on.PressureLow, LimitHigh: on.PressureHigh}
	p.Over, p.MayBe = p.Low > p.LimitHigh, on.PressureHigh < softest && p.Usual > p.LimitLow
	return p
}
