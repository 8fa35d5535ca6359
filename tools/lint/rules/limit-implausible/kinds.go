package limitimplausible

import (
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

// kind is a sort of measure with the range in which its limits lie. The ranges are
// wide: they are there for a slipped point or a wrong unit, not for a tight value.
type kind struct {
	name     string
	has      [][]string // one word of each
	from, to string
}

// kinds lists the narrower before the wider. Common practice, no source, but where a
// source is beside a line.
var kinds = []kind{
	{"tyre tread", [][]string{{"tread"}}, "0.8 mm", "20 mm"}, // 49 CFR 570.9(a): 2/32 in is the least
	{"wheel or tyre run-out", [][]string{{"run", "runout"}, {"out", "runout"}, {"wheel", "rim", "tyre", "tire"}}, "0.01 mm", "3 mm"},
	{"run-out", [][]string{{"run", "runout"}, {"out", "runout"}}, "0.01 mm", "0.2 mm"},
	{"flatness", [][]string{{"flat", "flatness", "warp", "warpage", "distortion"}}, "0.01 mm", "0.25 mm"},
	{"crankshaft or camshaft end float", [][]string{{"float", "play"}, {"end", "float", "axial"}, {"crankshaft", "camshaft", "crank"}}, "0.02 mm", "0.5 mm"},
	{"bearing end float", [][]string{{"float", "play"}, {"end", "float", "axial"}}, "0.01 mm", "0.4 mm"},
	{"backlash", [][]string{{"backlash"}}, "0.03 mm", "0.6 mm"},
	{"valve clearance", [][]string{{"valve", "tappet"}, {"clearance", "gap", "lash"}}, "0.03 mm", "0.8 mm"},
	{"spark plug gap", [][]string{{"plug", "electrode"}, {"gap"}}, "0.3 mm", "2 mm"},
	{"ring gap", [][]string{{"ring"}, {"gap", "clearance"}}, "0.02 mm", "2 mm"}, // ISO 6621-4, from memory
	{"air gap of a sensor", [][]string{{"air", "sensor"}, {"gap"}}, "0.1 mm", "3 mm"},
	{"running clearance", [][]string{{"clearance", "play"}, {"bearing", "journal", "piston", "guide", "bush", "joint"}}, "0.005 mm", "3 mm"},
	{"lash of the steering wheel", [][]string{{"steering"}, {"lash", "play"}}, "2 mm", "60 mm"}, // 49 CFR 570.7(a): 2 in at a 16 in wheel
	{"pedal or lever travel", [][]string{{"pedal", "lever"}, {"travel", "play", "free"}}, "0.5 mm", "200 mm"},
	{"pad or lining thickness", [][]string{{"pad", "lining", "shoe"}, {"thickness", "thick", "depth"}}, "1 mm", "25 mm"},
	{"disc thickness", [][]string{{"disc", "rotor"}, {"thickness", "thick"}}, "3 mm", "60 mm"},
	{"drum diameter", [][]string{{"drum"}, {"diameter", "inner", "bore"}}, "100 mm", "500 mm"},
	{"thickness variation", [][]string{{"variation"}}, "0.003 mm", "0.1 mm"},
	{"ride height", [][]string{{"ride", "arch", "suspension"}, {"height", "arch", "suspension"}}, "100 mm", "1200 mm"},
	{"belt deflection", [][]string{{"belt"}, {"deflection", "slack", "gives"}}, "1 mm", "40 mm"},
	{"toe", [][]string{{"toe"}}, "0.01 deg", "3 deg"},
	{"toe", [][]string{{"toe"}}, "0.1 mm", "12 mm"},
	{"camber", [][]string{{"camber"}}, "0.05 deg", "6 deg"},
	{"tyre pressure", [][]string{{"tyre", "tire"}, {"pressure"}}, "0.08 MPa", "1.1 MPa"},
	{"compression", [][]string{{"compression"}}, "0.4 MPa", "6 MPa"},
	{"oil pressure", [][]string{{"oil"}, {"pressure"}}, "0.02 MPa", "1.2 MPa"},
	{"cooling system pressure", [][]string{{"coolant", "radiator", "cap"}, {"pressure"}}, "0.03 MPa", "0.4 MPa"},
	{"fuel rail pressure", [][]string{{"rail"}, {"pressure"}}, "0.2 MPa", "300 MPa"},
	{"fuel pressure", [][]string{{"fuel"}, {"pressure"}}, "0.01 MPa", "3 MPa"},
	{"prevailing or turning torque", [][]string{{"drag", "preload", "prevailing"}}, "0.05 N.m", "60 N.m"},
	{"fit of a seat or journal", [][]string{{"diameter"}, {"seat", "axle", "journal", "shaft", "bearing", "bore"}}, "3 mm", "250 mm"},
}

// kindOf finds what is measured by the words of the operation itself, else by the
// sentence of its step. Of several kinds that the words fit, the first that is
// measured in such units counts.
func kindOf(w lint.Written) (kind, bool) {
	_, id := w.Target.Split()
	own := id + "; " + string(w.Target) + "; " + w.Accept + "; " + w.Note
	if w.Fastener != nil {
		own += "; " + w.Fastener.Title
	}
	limit := w.High
	if limit.IsZero() {
		limit = w.Low
	}
	for _, text := range []string{own, own + "; " + w.Step.Text} {
		var fits []kind
		for _, k := range kinds {
			if !slices.ContainsFunc(k.has, func(words []string) bool { return !specdata.HasWord(text, words...) }) {
				fits = append(fits, k)
			}
		}
		for _, k := range fits {
			if specdata.MustQuantity(k.from).Dimension() == limit.Dimension() {
				return k, true
			}
		}
		if len(fits) > 0 {
			return fits[0], true
		}
	}
	return kind{}, false
}
