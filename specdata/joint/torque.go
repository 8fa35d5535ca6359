package joint

import "math"

const pi = math.Pi

// TableUtilisation is the share of the yield that tightening tables are made for,
// ν = 0.9 (VDI 2230 table A1).
const TableUtilisation = 0.9

// Lever is T/F in m, what each newton of clamp load costs in torque:
//
//	T/F = P/(2π) + 0.577·d2·µ_thread + (Db/2)·µ_head
//
// (VDI 2230 R13, printed there as 0.16·P + 0.58·d2·µG + DKm/2·µK; 0.577 is for 60°
// flanks). Db is the mean diameter of a flat seat and more of a cone or a ball; see
// [Bearing.EffectiveDiameter]. Prevailing torque is not in it.
func Lever(t Thread, b Bearing, mu Mu) float64 {
	return t.Pitch/(2*pi) + t.flank()*t.PitchDiameter()*mu.Thread + b.EffectiveDiameter()/2*mu.Head
}

// Torque is the tightening torque in N·m for a clamp load in N.
func Torque(t Thread, b Bearing, mu Mu, clamp float64) float64 { return clamp * Lever(t, b, mu) }

// Clamp is the clamp load in N from a torque in N·m that holds no prevailing torque.
func Clamp(t Thread, b Bearing, mu Mu, torque float64) float64 { return torque / Lever(t, b, mu) }

// TorqueExact is the tightening torque in N·m without the small-angle
// simplification, and with the flank angle in the plane normal to the helix:
//
//	T = F·(d2/2·(tan φ + µ/cos αn)/(1 − tan φ·µ/cos αn) + Db/2·µ_head),  tan αn = tan 30°·cos φ
//
// (the power screw equation of the textbooks, from memory). It is up to 2 % above
// Torque at ordinary friction.
func TorqueExact(t Thread, b Bearing, mu Mu, clamp float64) float64 {
	phi := t.Lead()
	tan := math.Tan(phi)
	cos := 1 / (2 * t.flank())
	m := mu.Thread / math.Cos(math.Atan(math.Cos(phi)*math.Sqrt(1-cos*cos)/cos))
	return clamp * (t.PitchDiameter()/2*(tan+m)/(1-tan*m) + b.EffectiveDiameter()/2*mu.Head)
}

// Torsion says how the shank is taken to answer the thread's torque.
type Torsion uint8

const (
	// FullyPlastic: the section modulus is π·d³/12 (VDI 2230 since 2001).
	FullyPlastic Torsion = iota
	// Elastic: π·d³/16. Tables from before 2001 are made with it; it gives 7–9 %
	// less preload at µ = 0.12. It is here to read such tables, never to judge.
	Elastic
)

// stressRatio is σred/σ, the combined over the plain tensile stress while the
// bolt is being tightened (von Mises): √(1 + 3·(τ/σ)²) with
// τ/σ = (MG/W)/(F/A).
func stressRatio(t Thread, mu Mu, k Torsion) float64 {
	thread := t.Pitch/(2*pi) + t.flank()*t.PitchDiameter()*mu.Thread // MG/F
	r := thread * t.twist(k)
	return math.Sqrt(1 + 3*r*r)
}

// CombinedStress is the von Mises stress in Pa over the stress area while the bolt
// is being tightened to the clamp load in N: σ = F/As with τ = MG/(π·ds³/12)
// (VDI 2230 R8, fully plastic torsion).
func CombinedStress(t Thread, mu Mu, clamp float64) float64 {
	return clamp / t.StressArea() * stressRatio(t, mu, FullyPlastic)
}

// ClampAt is the clamp load in N at which the combined stress reaches stress in
// Pa: F = stress·As/√(1 + 3·(3/2·d2/ds·(P/(π·d2) + 1.155·µ))²) (VDI 2230 R8/1).
func ClampAt(t Thread, mu Mu, stress float64, k Torsion) float64 {
	return stress * t.StressArea() / stressRatio(t, mu, k)
}

// YieldTorque is the torque in N·m at which the combined stress reaches stress in
// Pa, prevailing torque left out.
func YieldTorque(t Thread, b Bearing, mu Mu, stress float64) float64 {
	return ClampAt(t, mu, stress, FullyPlastic) * Lever(t, b, mu)
}

// Ends finds the frictions of two bands at which a torque is hardest and mildest
// on the bolt, that is, at which YieldTorque is least and greatest.
//
// What friction eats never loads the shank, so almost always these are the lowest
// and the highest of both bands. But thread friction also twists the shank: with
//
//	∂(yield torque)/∂µ_thread ∝ 1 − 3·(3/ds)²·(MG/F)·(Db/2)·µ_head
//
// it turns round where both are very high (dry stainless), and then the mildest
// thread friction lies inside its band.
func Ends(t Thread, b Bearing, thread, head Band) (hardest, mildest Mu) {
	hardest, mildest = Mu{thread.Low, head.Low}, Mu{thread.High, head.High}
	a := t.twist(FullyPlastic)
	lead, flank, seat := t.Pitch/(2*pi), t.flank()*t.PitchDiameter(), 3*a*a*b.EffectiveDiameter()/2
	if turn := 1 / (seat * head.High); lead+flank*thread.High > turn {
		mildest.Thread = max((turn-lead)/flank, thread.Low)
	}
	if lead+flank*thread.High > 1/(seat*head.Low) {
		if other := (Mu{thread.High, head.Low}); YieldTorque(t, b, other, 1) < YieldTorque(t, b, hardest, 1) {
			hardest = other
		}
	}
	return hardest, mildest
}
