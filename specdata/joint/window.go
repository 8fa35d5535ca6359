package joint

// Shares of the bolt's proof load that a clamp or wheel joint should reach even
// where friction is kindest: under the first it is slack, under the second low.
// Common practice, no source.
const (
	SlackShare = 0.15
	LowShare   = 0.35
)

// tableRounding is how far a table's whole N·m may lie above what it was made from.
const tableRounding = 1.01

// Bound is one end of a torque window: the torque as read on the wrench, in N·m,
// the friction at which the bound is true and the clamp load in N there.
type Bound struct {
	Torque float64
	Mu     Mu
	Clamp  float64
}

// Window is where a torque may lie. Slack and Low are zero for joints that have no
// clamp to lose; so are High and what follows where the bolt's class is unknown.
type Window struct {
	// Slack: below it the clamp is under 15 % of the proof load even at the lowest friction.
	Slack Bound
	// Low: below it the clamp is under 35 % of the proof load even at the lowest friction.
	Low Bound
	// High: above it the bolt passes 90 % of its yield at the friction hardest on it.
	High Bound
	// MayYield: above it the bolt yields at the friction hardest on it. A table value made
	// for 90 % of yield at the usual friction, rounded, is never above it: where that
	// is the higher of the two, it is the bound.
	MayYield Bound
	// OverYield: above it the bolt yields even at the mildest friction.
	OverYield Bound
	// Breaks: above it the combined stress reaches the tensile strength even at the
	// mildest friction.
	Breaks Bound
}

// NewWindow works out the window for a bolt of grade g with a friction band each
// for thread and head and a prevailing torque between dragLow and dragHigh, in
// N·m, inside the reading. Every bound counts as true only where the doubtful
// values are taken at the end that is kind to the record. clamps says that the
// joint has a clamp load to keep.
func NewWindow(t Thread, b Bearing, thread, head Band, g Grade, dragLow, dragHigh float64, clamps bool) Window {
	hardest, mildest := Ends(t, b, thread, head)
	return window(t, b, b, Mu{thread.Low, head.Low}, Mu{thread.Typical, head.Typical}, hardest, mildest, g, dragLow, dragHigh, clamps)
}

// window takes the bearing in two: wide is the seat that takes most of the torque, where
// it is not known what the seat is, and counts where it is kind to the record.
func window(t Thread, b, wide Bearing, low, typical, hardest, mildest Mu, g Grade, dragLow, dragHigh float64, clamps bool) Window {
	// Clamp load and torque at a friction are proportional to the stress, so each
	// friction costs one root.
	type perPascal struct {
		mu            Mu
		clamp, torque float64
	}
	unit := func(b Bearing, mu Mu) perPascal {
		f := ClampAt(t, mu, 1, FullyPlastic)
		return perPascal{mu, f, f * Lever(t, b, mu)}
	}
	at := func(u perPascal, stress, drag float64) Bound {
		return Bound{u.torque*stress + drag, u.mu, u.clamp * stress}
	}
	hard, mild := unit(b, hardest), unit(wide, mildest)
	w := Window{
		High:      at(hard, TableUtilisation*g.Yield, dragLow),
		MayYield:  at(hard, g.Yield, dragLow),
		OverYield: at(mild, g.Yield, dragHigh),
		Breaks:    at(mild, g.Tensile, dragHigh),
	}
	if table := at(unit(b, typical), tableRounding*TableUtilisation*g.Yield, dragLow); table.Torque > w.MayYield.Torque {
		w.MayYield = table
	}
	if w.OverYield.Torque < w.MayYield.Torque { // a band of one value
		w.MayYield = w.OverYield
	}
	if clamps {
		proof, lever := g.ProofOrYield()*t.StressArea(), Lever(t, b, low)
		w.Slack = Bound{SlackShare*proof*lever + dragLow, low, SlackShare * proof}
		w.Low = Bound{LowShare*proof*lever + dragLow, low, LowShare * proof}
	}
	return w
}

// Class is where a torque lies in its window.
type Class uint8

// The classes, from nothing known to broken.
const (
	NotJudged Class = iota // no bound could be worked out; Verdict.NotChecked says why
	Slack                  // cannot clamp, at any friction of the band
	Low                    // clamps little, at any friction of the band
	Good                   // inside the window
	High                   // over 90 % of yield at the friction hardest on the bolt
	MayYield               // yields unless the friction is milder than the hardest
	OverYield              // yields at any friction of the band: it cannot be meant
	Breaks                 // reaches the tensile strength at any friction of the band
)

var classNames = [...]string{"not judged", "slack", "low", "good", "high", "may yield", "over yield", "breaks"}

// String names the class.
func (c Class) String() string {
	if int(c) < len(classNames) {
		return classNames[c]
	}
	return "not judged"
}

// Impossible reports whether no friction of the band saves the value: the only
// classes that can justify refusing it.
func (c Class) Impossible() bool { return c == OverYield || c == Breaks }

// classify places the torques. highest is the highest torque the bolt sees, final
// the one it is left with; the last is judged for clamp, the first for yield.
func (w *Window) classify(highest, final float64) Class {
	switch {
	case w.Breaks.Torque > 0 && highest > w.Breaks.Torque:
		return Breaks
	case w.OverYield.Torque > 0 && highest > w.OverYield.Torque:
		return OverYield
	case w.MayYield.Torque > 0 && highest > w.MayYield.Torque:
		return MayYield
	case w.High.Torque > 0 && highest > w.High.Torque:
		return High
	case final < w.Slack.Torque:
		return Slack
	case final < w.Low.Torque:
		return Low
	}
	return Good
}
