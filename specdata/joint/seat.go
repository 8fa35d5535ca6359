package joint

import (
	"math"

	"proofload/specdata"
)

// ringShare is half the width of the ring on which a cone or a ball is taken to touch, over
// its mean diameter; only stretch is worked out with it (common practice, no source).
const ringShare = 0.1

// ballMost is the most that the mean diameter of a ball may be, in radii: past it a ball
// would sit nearly at its equator (common practice, no source).
const ballMost = 1.8

// ConeBearing is the bearing of a cone with the whole angle in rad and the mean
// diameter of contact in m.
func ConeBearing(mean, angle float64) Bearing {
	return Bearing{Outer: (1 + ringShare) * mean, Hole: (1 - ringShare) * mean, Wedge: 1 / math.Sin(angle/2), From: "cone: mean diameter over the sine of half its angle"}
}

// BallBearing is the bearing of a ball of a radius in m that touches at the mean
// diameter in m. It is false where the ball is too small for it.
func BallBearing(mean, radius float64) (Bearing, bool) {
	x := mean / 2 / radius
	if x >= 1 {
		return Bearing{}, false
	}
	return Bearing{Outer: (1 + ringShare) * mean, Hole: (1 - ringShare) * mean, Wedge: 1 / math.Sqrt(1-x*x), From: "ball: mean diameter over √(1 − (r/R)²)"}, true
}

// The mean diameter of contact of wheel cones and balls in d, where it is not stated:
// common practice, no source.
const coneMeanLow, coneMeanHigh = 1.25, 1.55

// seatOf is the seat that a record states, at the end that takes least of the torque and
// at the one that takes most. drive is the face of the part that turns. known is false
// where a wheel may sit on a cone, a ball or a plane.
func seatOf(t Thread, drive Bearing, f *specdata.Fastener) (b, wide Bearing, known bool) {
	if drive.IsZero() {
		drive = StandardBearing(t)
	}
	s := f.Seat
	if s == nil {
		if f.Joint == specdata.JointWheel && (f.Drive == nil || !f.Drive.Flange) {
			return drive, ConeBearing(coneMeanHigh*t.Major, pi/3), false
		}
		return drive, drive, true
	}
	means := []float64{coneMeanLow * t.Major, coneMeanHigh * t.Major}
	if m := length(s.Mean); m > 0 {
		means = []float64{m, m}
	}
	switch s.Form {
	case "cone":
		if a := angle(s.Angle); a > 0 && a < pi {
			return ConeBearing(means[0], a), ConeBearing(means[1], a), true
		}
	case "ball":
		if r := length(s.Radius); r > 0 {
			low, ok := BallBearing(min(means[0], ballMost*r), r)
			high, also := BallBearing(min(means[1], ballMost*r), r)
			if ok && also {
				return low, high, true
			}
		}
	case "flange":
		if fb, ok := FlangeBearing(t, 0); ok && !f.Drive.Flange {
			drive = fb
		}
		fallthrough
	case "flat":
		if o := length(s.Outer); o > 0 {
			drive.Outer, drive.From = o, "outer diameter of the face as stated"
		}
		if h := length(s.Hole); h > 0 {
			drive.Hole = h
		}
	}
	if drive.Outer <= drive.Hole {
		drive = StandardBearing(t)
	}
	return drive, drive, true
}

// washers is the outer diameter in mm of plain washers of the normal series by thread
// (ISO 7089, from memory).
var washers = []struct{ d, outer float64 }{
	{3, 7}, {4, 9}, {5, 10}, {6, 12}, {8, 16}, {10, 20}, {12, 24}, {14, 28}, {16, 30}, {18, 34}, {20, 37}, {22, 39}, {24, 44}, {27, 50}, {30, 56}, {33, 60}, {36, 66}, {39, 72},
}

// pressedFace is the ring that presses on the clamped part: the face itself, or the
// washer under it. It is false where nobody states its width: cones, balls, and heads
// whose hexagon is no wider than the hole.
func pressedFace(t Thread, b Bearing, s *specdata.Seat) (Bearing, bool) {
	if b.Wedge > 0 {
		return Bearing{}, false
	}
	if near(b.Hole, t.Major) && (s == nil || s.Form != "washer") {
		return Bearing{}, false // a hexagon no wider than its hole has a face that nobody stated
	}
	if s == nil || s.Form != "washer" {
		return b, true
	}
	w := Bearing{Outer: 2 * t.Major, Hole: b.Hole, From: "washer taken as 2 d"}
	for i := range washers {
		if t.Metric() && near(washers[i].d*millimetre, t.Major) {
			w.Outer, w.From = washers[i].outer*millimetre, "washer (ISO 7089)"
		}
	}
	if o := length(s.Outer); o > 0 {
		w.Outer, w.From = o, "washer as stated"
	}
	if h := length(s.Hole); h > 0 {
		w.Hole = h
	}
	return w, w.Outer > w.Hole
}

func angle(q specdata.Quantity) float64 {
	if q.IsZero() || q.Dimension() != specdata.Angle {
		return 0
	}
	return q.SI()
}
