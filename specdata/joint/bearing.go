package joint

// Bearing is the ring under the head or nut that turns, where half of the torque
// goes.
type Bearing struct {
	// Outer is the diameter of the bearing face dw, and Hole the clearance hole dh, in m.
	Outer, Hole float64
	// Wedge is what a seat that is no plane multiplies friction with: 1/sin of half the
	// cone's angle, 1/√(1 − (r/R)²) for a ball of radius R touching at radius r; 0 is a plane.
	Wedge float64
	// From says where the diameters come from.
	From string
	// Assumed says that the drive was not stated and a plain hexagon was taken.
	Assumed bool
}

// IsZero reports whether there is no bearing.
func (b Bearing) IsZero() bool { return b.Outer == 0 }

// MeanDiameter is Db = (dw + dh)/2 in m (VDI 2230: DKm).
func (b Bearing) MeanDiameter() float64 { return (b.Outer + b.Hole) / 2 }

// EffectiveDiameter is the diameter in m at which the friction of the seat would have to
// act if it were a plane: MeanDiameter times Wedge. On a cone the normal force is
// F/sin(angle/2) (a cone clutch; textbooks), on a ball F over the cosine of the normal.
func (b Bearing) EffectiveDiameter() float64 {
	if b.Wedge == 0 {
		return b.MeanDiameter()
	}
	return b.MeanDiameter() * b.Wedge
}

// clearance is the medium series of ISO 273, in mm (from memory; the VDI tables of
// testdata/reference are reproduced with it).
var clearance = []struct{ d, hole float64 }{
	{3, 3.4}, {3.5, 3.9}, {4, 4.5}, {4.5, 5}, {5, 5.5}, {6, 6.6}, {7, 7.6}, {8, 9}, {10, 11}, {12, 13.5}, {14, 15.5}, {16, 17.5}, {18, 20},
	{20, 22}, {22, 24}, {24, 26}, {27, 30}, {30, 33}, {33, 36}, {36, 39}, {39, 42},
}

// Holes of sizes that ISO 273 does not have: the hole over d (common practice, no
// source), and for unified sizes what is over d in m, below an inch and from there, and
// the most of it as a share of d (ASME B18.2.8 normal fit to within 0.4 mm, from memory).
const (
	anyHole       = 1.1
	inchHole      = inch / 16
	largeInchHole = inch * 3 / 32
	inchHoleShare = 1.0 / 8
)

// ClearanceHole is the hole in m for a bolt of the thread: ISO 273 medium, for
// unified sizes a sixteenth of an inch over the nominal diameter, three thirty-seconds
// from an inch on, or an eighth of it where that is less (ASME
// B18.2.8 normal fit to within 0.4 mm, from memory). Sizes in neither get 1.1·d.
func ClearanceHole(t Thread) float64 {
	if t.Metric() {
		for i := range clearance {
			if c := &clearance[i]; near(c.d*millimetre, t.Major) {
				return c.hole * millimetre
			}
		}
		return anyHole * t.Major
	}
	if !t.Unified() {
		return anyHole * t.Major
	}
	over := inchHole
	if t.Major >= inch {
		over = largeInchHole
	}
	return t.Major + min(t.Major*inchHoleShare, over)
}

// hexTolerances holds the standard tolerances in mm of across-flats up to a size in mm:
// IT13 of the size, IT14 above 30 mm, and IT16 (ISO 286-1, from memory).
var hexTolerances = []struct{ upTo, it13, it16 float64 }{
	{3, 0.14, 0.60}, {6, 0.18, 0.75}, {10, 0.22, 0.90}, {18, 0.27, 1.10}, {30, 0.33, 1.30}, {50, 0.62, 0}, {80, 0.74, 0},
}

// From faceBySize mm across flats the bearing face is faceShare of the least size
// (ISO 4759-1, from memory).
const faceBySize, faceShare = 21, 0.95

// HexFace is the least diameter in m of the bearing face of a hexagon of product
// grade A with across-flats af in m: smin − IT16 below 21 mm, 0.95·smin from
// there, with smin = s − IT13 up to 30 mm and s − IT14 above (ISO 4759-1, from
// memory; the tabled dw of ISO 4014 in testdata/reference confirms it).
func HexFace(af float64) float64 {
	s := af / millimetre
	i := 0
	for i < len(hexTolerances)-1 && s > hexTolerances[i].upTo {
		i++
	}
	least := s - hexTolerances[i].it13
	if s < faceBySize {
		return (least - hexTolerances[i].it16) * millimetre
	}
	return faceShare * least * millimetre
}

// ring pairs a face with the clearance hole; a face that would vanish in the hole
// (a small hexagon on a collar nut) sits on the thread's own diameter instead, and
// one smaller than that is no face at all.
func ring(t Thread, face float64, from string) (Bearing, bool) {
	hole := ClearanceHole(t)
	if face <= hole {
		hole = t.Major
	}
	if face <= hole {
		return Bearing{}, false
	}
	return Bearing{Outer: face, Hole: hole, From: from}, true
}

// inchFace is the washer face of inch hexagons over their across flats, 0.95
// (ASME B18.2.1, from memory; BS 1768 as testdata/reference has it lies 1.1 % below to 3.4 % above).
const inchFace = 0.95

// HexBearing is the bearing of a plain hexagon with across-flats af in m. It is
// false where the hexagon is smaller than the thread.
func HexBearing(t Thread, af float64) (Bearing, bool) {
	if !t.Metric() {
		return ring(t, inchFace*af, "hexagon across flats × 0.95 (ASME B18.2.1) and hole")
	}
	return ring(t, HexFace(af), "hexagon across flats (ISO 4759-1) and hole (ISO 273 medium)")
}

// flangeFaces are the least bearing faces dw in mm of hexagon flange bolts:
// EN 1665 (heavy) and EN 1662 / ISO 4162 (small), as testdata/reference prints them.
var flangeFaces = []struct{ d, heavy, small float64 }{
	{5, 9.8, 9.4}, {6, 12.2, 11.6}, {8, 15.8, 14.9}, {10, 19.6, 18.7}, {12, 23.8, 22.5}, {14, 27.6, 26.4}, {16, 31.9, 30.6}, {20, 39.9, 0},
}

// What faces are taken as where no table has the size, over d: where the tables lie
// (flange, cap screw) or common practice, no source.
const (
	flangeFace = 1.95
	socketFace = 1.45
	anyFlats   = 1.5
	anyFace    = 1.4
)

// FlangeBearing is the bearing of a hexagon with a flange and across-flats af in m:
// EN 1665, or EN 1662 where the hexagon is of the small series. Off the tables the
// face is taken as 1.95·d, which is where the tables lie.
func FlangeBearing(t Thread, af float64) (Bearing, bool) {
	face := flangeFace * t.Major
	from := "flange taken as 1.95 d and hole (ISO 273 medium)"
	for i := range flangeFaces {
		f := &flangeFaces[i]
		if !near(f.d*millimetre, t.Major) {
			continue
		}
		face, from = f.heavy*millimetre, "flange (EN 1665) and hole (ISO 273 medium)"
		if std, ok := AcrossFlats(ISO4014, t); ok && af > 0 && af < std-1e-6 && f.small > 0 {
			face, from = f.small*millimetre, "small flange (EN 1662) and hole (ISO 273 medium)"
		}
		break
	}
	return ring(t, max(face, HexFace(af)), from)
}

// socketFaces are the least bearing faces dw in mm of ISO 4762 cap screws, as
// testdata/reference prints them.
var socketFaces = []struct{ d, face float64 }{
	{3, 5.07}, {4, 6.53}, {5, 8.03}, {6, 9.38}, {8, 12.33}, {10, 15.33}, {12, 17.23}, {14, 20.17}, {16, 23.17}, {20, 28.87}, {24, 34.81}, {30, 43.61}, {36, 52.54},
}

// SocketBearing is the bearing under a cylindrical head with an internal drive
// (ISO 4762). Off the table the face is taken as 1.45·d, which is where it lies.
func SocketBearing(t Thread) (Bearing, bool) {
	for i := range socketFaces {
		if f := &socketFaces[i]; near(f.d*millimetre, t.Major) {
			return ring(t, f.face*millimetre, "cap screw head (ISO 4762) and hole (ISO 273 medium)")
		}
	}
	return ring(t, socketFace*t.Major, "cap screw head taken as 1.45 d and hole")
}

// StandardBearing is the bearing of the plain hexagon that the thread has by
// standard (ISO 4014, ASME B18.2.1), which the torque tables assume too. A thread
// with no standard hexagon gets 1.5·d across flats.
func StandardBearing(t Thread) Bearing {
	af, ok := AcrossFlats(ISO4014, t)
	if !ok {
		if af, ok = AcrossFlats(ASMEB18, t); !ok {
			if af, ok = AcrossFlats(BritishHex, t); !ok {
				af = anyFlats * t.Major
			}
		}
	}
	b, ok := HexBearing(t, af)
	if !ok {
		return Bearing{Outer: anyFace * t.Major, Hole: anyHole * t.Major, From: "bearing taken as 1.4 d on 1.1 d", Assumed: true}
	}
	b.From, b.Assumed = "drive not stated: standard hexagon (ISO 4014, ASME B18.2.1) assumed", true
	return b
}
