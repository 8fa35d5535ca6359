package joint

import "proofload/specdata"

// plugTorques is what makers of plugs print for their sizes, in N·m, into light alloy
// and into cast iron (testdata/reference/plug_torques.csv), and for glow plugs the
// torque at which they break (common practice, no source; 0 where it is not known).
var plugTorques = []struct {
	kind              specdata.JointKind
	mm                float64
	cone              bool
	low, high, breaks float64
	ironLow, ironHigh float64
}{
	{specdata.JointSpark, 18, false, 35, 40, 0, 35, 45}, {specdata.JointSpark, 14, false, 25, 30, 0, 25, 35}, {specdata.JointSpark, 12, false, 15, 20, 0, 15, 25},
	{specdata.JointSpark, 10, false, 10, 12, 0, 10, 15}, {specdata.JointSpark, 18, true, 20, 30, 0, 20, 30}, {specdata.JointSpark, 14, true, 10, 20, 0, 15, 25},
	{specdata.JointGlow, 8, true, 8, 12, 20, 8, 12}, {specdata.JointGlow, 9, true, 10, 14, 22, 10, 14}, {specdata.JointGlow, 10, true, 12, 18, 35, 12, 18},
	{specdata.JointGlow, 12, true, 20, 28, 45, 20, 28},
}

// PlugRange is the torque in N·m that a spark plug or a glow plug usually gets, over the
// materials and seats that are not stated, and Breaks what breaks a glow plug, 0 where
// that is not known.
type PlugRange struct{ Low, High, Breaks float64 }

// PlugTorque looks up what a spark plug or glow plug of a thread usually gets. seat is
// the form of its seat and into the material, in the words of records; either may be
// empty. It is false for other joints and for sizes the table does not have.
func PlugTorque(kind specdata.JointKind, t Thread, seat, into string) (PlugRange, bool) {
	var out PlugRange
	for i := range plugTorques {
		r := &plugTorques[i]
		if r.kind != kind || !t.Metric() || !near(r.mm*millimetre, t.Major) {
			continue
		}
		if kind == specdata.JointSpark && seat != "" && r.cone != (seat == "cone") {
			continue
		}
		low, high := min(r.low, r.ironLow), max(r.high, r.ironHigh)
		switch into {
		case "aluminium", "magnesium", "insert":
			low, high = r.low, r.high
		case "cast-iron", "steel":
			low, high = r.ironLow, r.ironHigh
		}
		if out.Low == 0 || low < out.Low {
			out.Low = low
		}
		out.High, out.Breaks = max(out.High, high), r.breaks
	}
	return out, out.High > 0
}
