package joint

import "math"

// HexStandard names a family of across-flats sizes.
type HexStandard uint8

// The families, in the order a socket is likely.
const (
	ISO4014      HexStandard = iota // ISO 4014, 4017 and 4032 (sizes of ISO 272)
	DIN931                          // DIN 931, 933, 934 and 961, withdrawn but on the road
	EN1665                          // hexagon flange, heavy series (EN 1665)
	EN1662                          // hexagon flange, small series (EN 1662)
	ISO4162                         // hexagon flange, small series (ISO 4162:2012, ISO 15071)
	JIS                             // small hexagon of Japanese practice (from memory)
	DIN6921                         // older flange practice: M10 with 15 mm (from memory)
	ASMEB18                         // ASME B18.2.1 bolts, B18.2.2 nuts, B18.6.3 machine screws (from memory)
	Practice                        // wheel bolts and nuts: common practice, no source
	ISO4762                         // hexagon key for cap screws
	HeavyHex                        // ASME B18.2.2 heavy hex nuts: 1.5·D + 1/8 in
	BritishHex                      // BS 1083: Whitworth bolts and nuts, BSF and later BSW (from memory)
	OldWhitworth                    // BSW before BS 1083: the next larger hexagon (from memory)
)

var hexNames = [...]string{"ISO 4014/4032", "DIN 931/934", "EN 1665", "EN 1662", "ISO 4162", "JIS small", "DIN 6921", "ASME B18.2.1", "wheel practice", "ISO 4762", "ASME B18.2.2 heavy", "BS 1083", "old Whitworth"}

// String returns the name of the family.
func (h HexStandard) String() string {
	if int(h) < len(hexNames) {
		return hexNames[h]
	}
	return "no standard"
}

// Hex is one size by one family, with across-flats in m.
type Hex struct {
	AcrossFlats float64
	Standard    HexStandard
}

// flats is the across-flats in mm per nominal diameter, in the order ISO 4014,
// DIN 931, EN 1665, EN 1662, ISO 4162, JIS, DIN 6921; 0 where the family has none.
// JIS and DIN 6921 are from memory, the others are in testdata/reference/hex_sizes.csv.
// M7 is DIN 934 only.
var flats = []struct {
	d  float64
	af [7]float64
}{
	{3, [7]float64{5.5, 5.5}}, {3.5, [7]float64{6, 5.5}}, {4, [7]float64{7, 7}}, {5, [7]float64{8, 8, 8, 7, 7}}, {6, [7]float64{10, 10, 10, 8, 8}},
	{7, [7]float64{0, 11}}, {8, [7]float64{13, 13, 13, 10, 10, 12}}, {10, [7]float64{16, 17, 16, 13, 13, 14, 15}}, {12, [7]float64{18, 19, 18, 16, 15, 17}},
	{14, [7]float64{21, 22, 21, 18, 18, 19}}, {16, [7]float64{24, 24, 24, 21, 21, 22}}, {18, [7]float64{27, 27}}, {20, [7]float64{30, 30, 30}}, {22, [7]float64{34, 32}},
	{24, [7]float64{36, 36}}, {27, [7]float64{41, 41}}, {30, [7]float64{46, 46}}, {33, [7]float64{50, 50}}, {36, [7]float64{55, 55}}, {39, [7]float64{60, 60}},
}

// keys is the hexagon key in mm of ISO 4762 per nominal diameter.
var keys = []struct{ d, key float64 }{
	{3, 2.5}, {4, 3}, {5, 4}, {6, 5}, {8, 6}, {10, 8}, {12, 10}, {14, 12}, {16, 14}, {18, 14}, {20, 17}, {22, 17}, {24, 19}, {27, 19}, {30, 22}, {36, 27},
}

// wheel is what wheel nuts and bolts are made with, whatever the standard says.
var wheel = []struct {
	d  float64
	af []float64
}{
	{12, []float64{17, 19, 21}}, {14, []float64{17, 19, 21, 22}}, {16, []float64{24}}, {18, []float64{24, 27}}, {20, []float64{27, 30}}, {22, []float64{32, 33}},
}

// inchFlats is ASME across-flats in inches for bolt and nut.
var inchFlats = []struct {
	size      string
	bolt, nut float64
}{
	{"#8", 1.0 / 4, 11.0 / 32}, {"#10", 5.0 / 16, 3.0 / 8}, {"#12", 5.0 / 16, 7.0 / 16}, {"1/4", 7.0 / 16, 7.0 / 16}, {"5/16", 1.0 / 2, 1.0 / 2},
	{"3/8", 9.0 / 16, 9.0 / 16}, {"7/16", 5.0 / 8, 11.0 / 16}, {"1/2", 3.0 / 4, 3.0 / 4}, {"9/16", 13.0 / 16, 7.0 / 8}, {"5/8", 15.0 / 16, 15.0 / 16},
	{"3/4", 9.0 / 8, 9.0 / 8}, {"7/8", 21.0 / 16, 21.0 / 16}, {"1", 3.0 / 2, 3.0 / 2}, {"1-1/8", 27.0 / 16, 27.0 / 16}, {"1-1/4", 15.0 / 8, 15.0 / 8},
	{"1-3/8", 33.0 / 16, 33.0 / 16}, {"1-1/2", 9.0 / 4, 9.0 / 4},
}

// britishFlats is the across flats in inches of BS 1083 by size, and that of the BSW
// bolts before it, which have the hexagon of the next size (from memory).
var britishFlats = []struct {
	size        string
	bs1083, old float64
}{
	{"3/16", 0.340, 0.445}, {"1/4", 0.445, 0.525}, {"5/16", 0.525, 0.600}, {"3/8", 0.600, 0.710}, {"7/16", 0.710, 0.820}, {"1/2", 0.820, 0.920},
	{"9/16", 0.920, 1.010}, {"5/8", 1.010, 1.100}, {"3/4", 1.200, 1.300}, {"7/8", 1.300, 1.480}, {"1", 1.480, 1.670}, {"1-1/8", 1.670, 1.860},
	{"1-1/4", 1.860, 2.050}, {"1-1/2", 2.220, 2.410},
}

// A heavy hex nut has heavyShare of its diameter and heavyMore m across flats (ASME B18.2.2, from memory).
const heavyShare, heavyMore = 1.5, inch / 8

// baFlats is the across flats in inches of BA bolts and nuts by number (BS 57, from memory).
var baFlats = []struct {
	n  string
	in float64
}{
	{"0", 0.413}, {"1", 0.365}, {"2", 0.324}, {"3", 0.282}, {"4", 0.248}, {"5", 0.220}, {"6", 0.193}, {"7", 0.172}, {"8", 0.152}, {"9", 0.131}, {"10", 0.117},
}

// AcrossFlats is the size in m that a family gives the bolt of a thread: across
// flats, or the key for ISO 4762. It is false where the family has none, and for
// wheel practice, which has several.
func AcrossFlats(h HexStandard, t Thread) (float64, bool) {
	if !t.Metric() || h == ASMEB18 || h >= HeavyHex {
		return inchAcrossFlats(h, t)
	}
	if h == ISO4762 {
		for i := range keys {
			if k := &keys[i]; near(k.d*millimetre, t.Major) {
				return k.key * millimetre, true
			}
		}
		return 0, false
	}
	for i := range flats {
		if r := &flats[i]; int(h) < len(r.af) && near(r.d*millimetre, t.Major) {
			return r.af[h] * millimetre, r.af[h] > 0
		}
	}
	return 0, false
}

// inchAcrossFlats is AcrossFlats of threads that are not metric.
func inchAcrossFlats(h HexStandard, t Thread) (float64, bool) {
	switch {
	case h == ASMEB18 && t.Unified():
		for i := range inchFlats {
			if r := &inchFlats[i]; r.size == t.size {
				return r.bolt * inch, true
			}
		}
	case h == HeavyHex && t.Unified():
		return heavyShare*t.Major + heavyMore, t.Major > inch/4-1e-7
	case h == BritishHex && t.Series == BA:
		for i := range baFlats {
			if r := &baFlats[i]; r.n == t.size {
				return r.in * inch, true
			}
		}
	case (h == BritishHex || h == OldWhitworth && t.Series == BSW) && (t.Series == BSW || t.Series == BSF):
		for i := range britishFlats {
			if r := &britishFlats[i]; r.size == t.size {
				return map[bool]float64{true: r.bs1083, false: r.old}[h == BritishHex] * inch, true
			}
		}
	}
	return 0, false
}

// Sockets lists the external hexagons to expect on a thread, without repeats, the
// likeliest first. With wheel set, wheel practice comes too.
func Sockets(t Thread, forWheel bool) []Hex {
	var out []Hex
	add := func(af float64, h HexStandard) {
		for _, o := range out {
			if near(o.AcrossFlats, af) {
				return
			}
		}
		out = append(out, Hex{af, h})
	}
	for h := ISO4014; h <= DIN6921; h++ {
		if af, ok := AcrossFlats(h, t); ok {
			add(af, h)
		}
	}
	if t.Unified() {
		for i := range inchFlats {
			if r := &inchFlats[i]; r.size == t.size {
				add(r.bolt*inch, ASMEB18)
				add(r.nut*inch, ASMEB18)
			}
		}
	}
	for h := HeavyHex; h <= OldWhitworth; h++ {
		if af, ok := AcrossFlats(h, t); ok {
			add(af, h)
		}
	}
	if forWheel && t.Metric() {
		for i := range wheel {
			if r := &wheel[i]; near(r.d*millimetre, t.Major) {
				for _, af := range r.af {
					add(af*millimetre, Practice)
				}
			}
		}
	}
	return out
}

// ladder is the sizes of wrench openings in mm that exist in a workshop (ISO 272
// and ISO 691, from memory); steps on it say how far a size is off.
var ladder = []float64{3.2, 4, 5, 5.5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 27, 30, 32, 34, 36, 41, 46, 50, 55, 60, 65}

// Fit says how a hexagon agrees with a thread.
type Fit struct {
	// Nearest is the expected hexagon that is nearest.
	Nearest Hex
	// Steps is how many wrench sizes lie between: 0 for a standard size, 1 for a
	// neighbour, more for a size that is likely another bolt's. -1 means that no
	// family has a hexagon for the thread.
	Steps int
}

// FitHex compares an across-flats in m with what the thread's families have.
func FitHex(t Thread, af float64, forWheel bool) Fit {
	best := Fit{Steps: -1}
	for _, h := range Sockets(t, forWheel) {
		n := stepsBetween(h.AcrossFlats, af)
		if best.Steps < 0 || n < best.Steps {
			best = Fit{h, n}
		}
	}
	return best
}

// wrenchPlay is a wrench's own clearance in mm (common practice, no source).
const wrenchPlay = 0.15

// stepsBetween counts ladder sizes from a to b; a fraction of a millimetre within
// a wrench's own clearance is no step.
func stepsBetween(a, b float64) int {
	if math.Abs(a-b) < wrenchPlay*millimetre {
		return 0
	}
	lo, hi := min(a, b)/millimetre, max(a, b)/millimetre
	n := 1
	for _, s := range ladder {
		if s > lo+wrenchPlay && s < hi-wrenchPlay {
			n++
		}
	}
	return n
}
