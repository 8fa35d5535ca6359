package joint

import "fmt"

// Material is what a thread is tapped into: a band of tensile strength in Pa,
// since a record says "aluminium" and not which, and shear over tensile strength.
type Material struct {
	Name        string
	TensileLow  float64
	TensileHigh float64
	ShearRatio  float64
	// Wire says that a wire insert moves the shear to a larger thread in the parent metal.
	Wire bool
}

// IsZero reports whether the material is not one that strips.
func (m Material) IsZero() bool { return m.TensileLow == 0 }

// shearSteel is the shear over the tensile strength of steel, 0.6 (VDI 2230 table
// 5.5/1, Alexander; FED-STD-H28 takes 0.5 by its factor 2).
const shearSteel = 0.6

// materials: the low ends for steel, cast iron and aluminium are those of
// testdata/reference/engagement_lengths.csv (S235, EN-GJL-250, AlMg3), the ratio
// for light alloy is LOC-1 of worked_examples.csv; the high ends, magnesium,
// brass and the ratio for cast iron are from memory (VDI 2230 table A9).
var materials = []Material{
	{"steel", 360 * mpa, 800 * mpa, shearSteel, false},
	{"cast-iron", 220 * mpa, 400 * mpa, 1.1, false},
	{"aluminium", 180 * mpa, 310 * mpa, 0.7, false},
	{"magnesium", 160 * mpa, 240 * mpa, 0.7, false},
	{"brass", 340 * mpa, 430 * mpa, 0.6, false},
	{"insert", 180 * mpa, 310 * mpa, 0.7, true},
}

// TappedInto looks up a material a hole is tapped into, as records name it. A nut
// and plastic have none: a nut has its class, and plastic no strength worth a table.
func TappedInto(name string) (Material, error) {
	for _, m := range materials {
		if m.Name == name {
			return m, nil
		}
	}
	return Material{}, fmt.Errorf("tapped material %q has no strength here; allowed: steel, cast-iron, aluminium, magnesium, brass, insert", clip(name))
}

// runIn is the length of incomplete thread at the start of an engagement that
// carries nothing, in pitches (VDI 2230 5.5.5: 0.8·P, from memory).
const runIn = 0.8

// ShearAreas are the areas in m² that shear when the external and when the
// internal thread strips over the length le in m (FED-STD-H28/2, tables B; the
// form with P instead of 1/n):
//
//	external = π·le/P·D1max·(P/2 + (d2min − D1max)/√3)
//	internal = π·le/P·dmin·(P/2 + (dmin − D2max)/√3)
//
// for the limits of 6g/6H or 2A/2B.
func ShearAreas(t Thread, le float64) (external, internal float64) {
	l, p := t.Limits(), t.Pitch
	external = pi * le / p * l.InternalMinorMax * (p/2 + (l.ExternalPitchMin-l.InternalMinorMax)/sqrt3)
	internal = pi * le / p * l.ExternalMajorMin * (p/2 + (l.ExternalMajorMin-l.InternalPitchMax)/sqrt3)
	return external, internal
}

// insertPP is how much larger the parent thread of a wire insert is than the bolt's, in
// pitches: 1.299 (ASME B18.29, from memory).
const insertPP = 1.5 * heightPP

// parentArea is the internal shear area for the thread in the parent metal: with a
// wire insert that thread has the major diameter d + 1.299·P (ASME B18.29, from memory).
func (m Material) parentArea(t Thread, internal float64) float64 {
	if m.Wire {
		return internal * (1 + insertPP*t.Pitch/t.Major)
	}
	return internal
}

// Member is what gives way first when a joint is tightened without end.
type Member uint8

// The members.
const (
	BoltShank Member = iota
	BoltThread
	TappedThread
)

var memberNames = [...]string{"the bolt breaks", "the bolt's thread strips", "the tapped thread strips"}

// String says what happens.
func (m Member) String() string { return memberNames[min(int(m), len(memberNames)-1)] }

// Stripping is how a tapped thread stands against its bolt.
type Stripping struct {
	// Checked says that it could be worked out.
	Checked bool
	// NeededHigh and NeededLow are the engagement in m from which the bolt breaks
	// first, if the tapped part is as weak or as strong as its material may be.
	NeededHigh, NeededLow float64
	// BoltLoad is what breaks the shank in N, ThreadLoad what strips its thread.
	BoltLoad, ThreadLoad float64
	// TappedLow and TappedHigh are what strips the tapped thread in N.
	TappedLow, TappedHigh float64
	// First is what gives way first with the weak end of the material.
	First Member
	// Strips: the clamp load at the highest friction is over what the strongest
	// such material carries. MayStrip: the one at the lowest friction is over what
	// the weakest carries.
	Strips, MayStrip bool
}

// Engagement is the engaged length in m from which the bolt of grade g breaks
// before either thread strips, in a part with the tensile strength rm in Pa
// (FED-STD-H28/2 with the bolt's least tensile strength; the nut dilation and
// thread bending factors of Alexander are left out, which in a solid part costs
// up to a tenth). The 0.8 pitches of incomplete thread are included.
func Engagement(t Thread, g Grade, m Material, rm float64) float64 {
	ext, in := ShearAreas(t, 1)
	return engagement(t, g, ext, m.parentArea(t, in)*m.ShearRatio*rm)
}

// engagement takes the external shear area in m² and the strip load of the tapped
// thread in N, both per metre.
func engagement(t Thread, g Grade, ext, tapped float64) float64 {
	return t.StressArea()*g.Tensile/min(ext*shearSteel*g.Tensile, tapped) + runIn*t.Pitch
}

// Strip judges an engaged length in m against a clamp load band in N.
func Strip(t Thread, g Grade, m Material, length, clampLow, clampHigh float64) Stripping {
	ext, in := ShearAreas(t, 1)
	in = m.parentArea(t, in) * m.ShearRatio
	le := max(length-runIn*t.Pitch, 0)
	s := Stripping{
		Checked:    true,
		NeededHigh: engagement(t, g, ext, in*m.TensileLow), NeededLow: engagement(t, g, ext, in*m.TensileHigh),
		BoltLoad: t.StressArea() * g.Tensile, ThreadLoad: le * ext * shearSteel * g.Tensile,
		TappedLow: le * in * m.TensileLow, TappedHigh: le * in * m.TensileHigh,
	}
	switch least := min(s.BoltLoad, s.ThreadLoad, s.TappedLow); least {
	case s.BoltLoad:
		s.First = BoltShank
	case s.ThreadLoad:
		s.First = BoltThread
	default:
		s.First = TappedThread
	}
	// A bolt that would break first cannot bring more than its own load.
	s.MayStrip = min(clampHigh, s.BoltLoad) > min(s.TappedLow, s.ThreadLoad)
	s.Strips = min(clampLow, s.BoltLoad) > min(s.TappedHigh, s.ThreadLoad)
	return s
}
