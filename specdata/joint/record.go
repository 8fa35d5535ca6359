package joint

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"proofload/specdata"
)

// FromFastener reads what a record states about its joint. Fields it cannot read
// are left unknown and named in the second result with the reason, so that a
// misspelt class is not taken for a missing one; Judge adds what is missing.
func FromFastener(f *specdata.Fastener) (Input, []NotChecked) {
	in := Input{Kind: f.Joint}
	var not []NotChecked
	skip := func(c Check, field string, err error) { not = append(not, NotChecked{c, field, err.Error()}) }
	if f.Thread == nil {
		return in, not
	}
	t, err := ParseThread(f.Thread.Designation)
	if err != nil {
		skip(CheckYield, "thread.designation", err)
		return in, not
	}
	t.LeftHand = t.LeftHand || f.Thread.Hand == "left"
	t.Bore, t.Neck = length(f.Thread.Bore), length(f.Thread.Neck)
	if t.Bore >= t.section() {
		skip(CheckHollow, "thread.bore", fmt.Errorf("the bore of %s is as wide as the thread, which leaves nothing; a solid section is judged", specdata.Display(f.Thread.Bore)))
		t.Bore = 0
	}
	in.Thread = t
	in.Engagement, in.Grip = length(f.Thread.Engagement), length(f.Thread.Grip)
	in.Length, in.Hole = length(f.Thread.Length), length(f.Thread.Hole)
	switch into := f.Thread.Into; {
	case into == "plastic":
		in.Plastic = true
	case into == "nut", into == "", HasNut(f):
		// A nut is judged by its class; where its stud is screwed in stands in stud. With
		// neither stated it is not known whether there is a hole, and the missing nut class
		// is what is reported.
	default:
		in.Tapped = true
		if in.Into, err = TappedInto(f.Thread.Into); err != nil {
			skip(CheckStrip, "thread.into", err)
		}
	}
	if s := f.Strength; s != nil {
		if s.Bolt != "" {
			if in.Bolt, err = BoltGrade(s.Bolt, t.Major); err != nil {
				skip(CheckYield, "strength.bolt", err)
			}
		}
		if s.Nut != "" {
			if in.Nut, err = ParseNutClass(s.Nut); err != nil {
				skip(CheckNut, "strength.nut", err)
			}
		}
	}
	if in.ThreadBand, in.HeadBand, err = bands(f.Surface, in.Bolt.Family); err != nil {
		skip(CheckYield, "surface", err)
	}
	in.Bearing = driveBearing(t, f.Drive)
	in.seat(f)
	in.stud(f)
	if f.Tightening != nil {
		in.stages(f.Tightening)
		not = append(not, in.drag(f)...)
	}
	return in, not
}

// HasNut reports whether the clamp load of a fastener hangs on a nut: a nut is what
// turns, or its class or size is stated.
func HasNut(f *specdata.Fastener) bool {
	return f.Drive != nil && f.Drive.Turn == "nut" || f.Strength != nil && f.Strength.Nut != ""
}

// seat reads the face under the part that turns and what is clamped.
func (in *Input) seat(f *specdata.Fastener) {
	drive := in.Bearing
	known := true
	if f.Seat != nil || f.Joint == specdata.JointWheel {
		in.Bearing, in.Wide, known = seatOf(in.Thread, drive, f)
	}
	in.SeatUnknown = !known
	in.Stack.Parts = 1
	var on string
	if s := f.Seat; s != nil {
		on, in.SeatForm = s.Against, s.Form
	}
	if c := f.Clamped; c != nil {
		in.Stack = Stack{Parts: max(c.Parts, 1), Painted: c.Painted, Width: length(c.Width)}
		in.Stack.Of, _ = ClampedOf(c.Of)
		if q := c.Rise; !q.IsZero() && q.Dimension() == specdata.Warming {
			in.Stack.Rise = q.SI()
		}
		if on == "" && (f.Seat == nil || f.Seat.Form != "washer") {
			on = c.Of
		}
	}
	in.On, _ = ClampedOf(on)
	face := in.Bearing
	if face.IsZero() {
		face = StandardBearing(in.Thread)
	}
	in.Pressed, _ = pressedFace(in.Thread, face, f.Seat)
}

// stud reads what the stud of a nut is screwed into.
func (in *Input) stud(f *specdata.Fastener) {
	if f.Stud == nil || f.Stud.Held != "screwed" {
		return
	}
	if m, err := TappedInto(f.Stud.Into); err == nil {
		in.StudInto, in.StudEngagement = m, length(f.Stud.Engagement)
	}
}

// length returns a record's length in m, 0 when it is absent or no length.
func length(q specdata.Quantity) float64 {
	if q.IsZero() || q.Dimension() != specdata.Length {
		return 0
	}
	return q.SI()
}

// bands reads the friction of thread and seat. Where the surface speaks of one of
// them only, the other gets the band of a surface nobody described.
func bands(s *specdata.Surface, f Family) (thread, head Band, err error) {
	if s == nil {
		return Band{}, Band{}, nil
	}
	var b Band
	if s.Friction != "" {
		b, err = ParseBand(s.Friction)
	} else {
		b, err = SurfaceBand(s.Condition, f)
	}
	if err != nil {
		return Band{}, Band{}, err
	}
	switch s.On {
	case "thread":
		return b, widest(f), nil
	case "seat":
		return widest(f), b, nil
	}
	return b, b, nil
}

// driveBearing is the bearing of the part that turns, the assumed standard hexagon
// where the record's drive does not give one.
func driveBearing(t Thread, d *specdata.Drive) Bearing {
	if d == nil {
		return Bearing{}
	}
	drive := d.Head
	if d.Turn == "nut" {
		drive = d.Nut
	}
	form, af := SplitDrive(drive)
	var b Bearing
	ok := false
	switch form {
	case "hex", "12-point", "flats":
		if d.Flange {
			b, ok = FlangeBearing(t, af)
		} else {
			b, ok = HexBearing(t, af)
		}
	case "hex-key", "hexalobular":
		if d.Flange {
			b, ok = FlangeBearing(t, 0)
		} else {
			b, ok = SocketBearing(t)
		}
	case "multi-spline":
		b, ok = SocketBearing(t)
	case "external-hexalobular":
		b, ok = FlangeBearing(t, 0) // these heads carry a flange (ISO 15072, from memory)
	}
	if !ok {
		return Bearing{}
	}
	return b
}

// SplitDrive splits a record's drive into its form and its size in m: "hex 18 mm"
// is "hex" and 0.018, "hex 9/16 in" is 0.0142875. The size is 0 where it has none
// or one of its own kind ("hexalobular T30").
func SplitDrive(s string) (form string, size float64) {
	form, rest, _ := strings.Cut(s, " ")
	if mm, ok := strings.CutSuffix(rest, " mm"); ok {
		// The common case, without exact arithmetic: a library has thousands.
		if x, err := strconv.ParseFloat(mm, 64); err == nil && x > 0 && x < 1e3 {
			return form, x * millimetre
		}
	}
	if in, ok := strings.CutSuffix(rest, " in"); ok {
		if x, ok := inches(in); ok {
			return form, x * inch
		}
	}
	if rest == "" || rest[0] > '9' {
		return form, 0 // a size of its own kind
	}
	q, err := specdata.ParseQuantity(rest)
	if err != nil {
		return form, 0
	}
	return form, length(q)
}

// stages reads the torques and angles. A slackening starts the sequence again: an
// angle before it is no longer in the bolt, but its torques have been.
func (in *Input) stages(tt *specdata.Tightening) {
	for i := range tt.Stages {
		s := &tt.Stages[i]
		switch {
		case s.Slacken:
			in.Snug, in.Final, in.Angle = 0, 0, 0
		case !s.Rolling.IsZero():
			in.Rolling = true
		case !s.Torque.IsZero() && s.Torque.Dimension() == specdata.Torque:
			t := s.Torque.SI()
			in.Final = t
			if in.Angle == 0 {
				in.Snug = t
			}
			if !s.UpTo.IsZero() && s.UpTo.Dimension() == specdata.Torque {
				t = max(t, s.UpTo.SI())
			}
			in.Torque = max(in.Torque, t)
		case !s.Angle.IsZero() && s.Angle.Dimension() == specdata.Angle:
			in.Angle += s.Angle.SI()
		}
	}
	switch tol := tt.Tolerance; {
	case tol.IsZero():
	case tol.Dimension() == specdata.Fraction:
		in.Tolerance = tol.SI()
	case tol.Dimension() == specdata.Torque && in.Torque > 0:
		in.Tolerance = tol.SI() / in.Torque
	}
}

// drag reads the prevailing torque that the reading contains. Where the record
// says that it is included but not how much, it lies between nothing and the most
// a new nut may have.
func (in *Input) drag(f *specdata.Fastener) []NotChecked {
	tt := f.Tightening
	by := ""
	if f.Lock != nil {
		by = f.Lock.By
	}
	most, err := RunInTorque(by, in.Thread)
	locks := most > 0 || err != nil
	if by == "" {
		// The value includes something, but the record names no lock: what a nut may have.
		most, err = RunInTorque("insert", in.Thread)
	}
	switch tt.Drag {
	case "included":
		if q := tt.DragTorque; !q.IsZero() && q.Dimension() == specdata.Torque {
			in.DragLow, in.DragHigh = q.SI(), q.SI()
			return nil
		}
		if err != nil || most == 0 {
			return []NotChecked{{CheckDrag, "tightening.drag_torque", fmt.Sprintf("the reading includes a prevailing torque that is not stated, and no table has one for %s; none is taken off", in.Thread)}}
		}
		in.DragHigh = math.Min(most, in.Torque)
	case "add":
		if q := tt.DragTorque; !q.IsZero() && q.Dimension() == specdata.Torque {
			in.AddLow, in.AddHigh = q.SI(), q.SI()
			return nil
		}
		if err != nil || most == 0 {
			return []NotChecked{{CheckDrag, "tightening.drag_torque", fmt.Sprintf("the prevailing torque that is added is not stated, and no table has one for %s; measure it while running down", in.Thread)}}
		}
		in.AddHigh = most
	case "", "not-applicable":
		if locks {
			return []NotChecked{{CheckDrag, "tightening.drag", "the nut locks by friction, but the record does not say whether the reading includes it; none is taken off"}}
		}
	}
	return nil
}
