package joint

import (
	"math"
	"strings"
	"testing"

	"proofload/specdata"
)

func q(s string) specdata.Quantity { return specdata.MustQuantity(s) }

// hubNut is a complete record; tests break one thing of it at a time.
func hubNut() *specdata.Fastener {
	return &specdata.Fastener{
		Place: "rear hub", Count: 1, Joint: specdata.JointBearing,
		Thread:   &specdata.Thread{Designation: "M24x1.5", Hand: "right", Into: "steel", Engagement: q("22 mm")},
		Strength: &specdata.Strength{Bolt: "8.8", Nut: "8"},
		Drive:    &specdata.Drive{Turn: "nut", Nut: "hex 30 mm", Special: true},
		Surface:  &specdata.Surface{Condition: "dry"},
		Tightening: &specdata.Tightening{
			Stages: []specdata.Stage{{Torque: q("240 N.m"), Also: q("177 lbf.ft")}}, Tolerance: q("10 %"), Drag: "not-applicable",
		},
	}
}

func headBolt() *specdata.Fastener {
	return &specdata.Fastener{
		Joint:    specdata.JointClamp,
		Thread:   &specdata.Thread{Designation: "M10x1.5", Hand: "right", Into: "cast-iron", Engagement: q("20 mm"), Grip: q("118 mm")},
		Strength: &specdata.Strength{Bolt: "10.9"},
		Drive:    &specdata.Drive{Turn: "head", Head: "hexalobular T50"},
		Surface:  &specdata.Surface{Condition: "oiled"},
		Tightening: &specdata.Tightening{
			Stages: []specdata.Stage{{Torque: q("20 N.m"), AllFirst: true}, {Torque: q("40 N.m")}, {Angle: q("90 deg")}, {Angle: q("90 deg")}},
		},
	}
}

func TestFromFastener(t *testing.T) {
	in, not := FromFastener(hubNut())
	if len(not) != 0 {
		t.Fatalf("not read: %+v", not)
	}
	if in.Thread.String() != "M24x1.5" || in.Bolt.Name != "8.8" || in.Nut.Name != "8" || in.Torque != 240 || in.Tolerance != 0.1 || in.Tapped || !in.Into.IsZero() || math.Abs(in.Engagement-22e-3) > 1e-12 || math.Abs(in.Bearing.Outer-HexFace(30e-3)) > 1e-12 || in.ThreadBand.High != 0.20 {
		t.Errorf("hub nut: %+v", in)
	}
	if v := Judge(in); v.Class != Good || len(v.NotChecked) != 2 || v.NotChecked[0].Check != CheckPress || v.NotChecked[1].Check != CheckSettle {
		t.Errorf("hub nut: %s %+v", v.Summary(), v.NotChecked)
	}

	in, not = FromFastener(headBolt())
	if len(not) != 0 || in.Torque != 40 || in.Final != 40 || in.Snug != 40 || math.Abs(in.Angle-pi) > 1e-12 || math.Abs(in.Grip-118e-3) > 1e-12 {
		t.Errorf("head bolt: %+v %+v", in, not)
	}
	if v := Judge(in); v.Class != Good || v.Turn.Passing != PassesYield || !v.Stripping.Checked {
		t.Errorf("head bolt: %s %+v", v.Summary(), v.Turn)
	}
}

func TestFromFastenerStages(t *testing.T) {
	for _, c := range []struct {
		what                string
		stages              []specdata.Stage
		torque, final, snug float64
		angle               float64 // degrees
	}{
		{"settling cycle", []specdata.Stage{{Torque: q("60 N.m")}, {Slacken: true}, {Torque: q("40 N.m")}, {Torque: q("55 N.m")}}, 60, 55, 55, 0},
		{"range", []specdata.Stage{{Torque: q("45 N.m"), UpTo: q("60 N.m")}}, 60, 45, 45, 0},
		{"angle dropped by slackening", []specdata.Stage{{Torque: q("30 N.m")}, {Angle: q("90 deg")}, {Slacken: true}, {Torque: q("50 N.m")}}, 50, 50, 50, 0},
		{"torque check after the angle", []specdata.Stage{{Torque: q("30 N.m")}, {Angle: q("0.25 turn")}, {Wait: q("5 min")}, {Torque: q("80 N.m")}}, 80, 80, 30, 90},
		{"hand, then an angle", []specdata.Stage{{Seat: "hand"}, {Angle: q("270 deg")}}, 0, 0, 0, 270},
		{"foot pounds", []specdata.Stage{{Torque: q("100 lbf.ft")}}, 135.5818, 135.5818, 135.5818, 0},
	} {
		f := headBolt()
		f.Tightening.Stages = c.stages
		in, _ := FromFastener(f)
		if math.Abs(in.Torque-c.torque) > 1e-4 || math.Abs(in.Final-c.final) > 1e-4 || math.Abs(in.Snug-c.snug) > 1e-4 || math.Abs(in.Angle*180/pi-c.angle) > 1e-9 {
			t.Errorf("%s: torque %g, final %g, snug %g, angle %g", c.what, in.Torque, in.Final, in.Snug, in.Angle*180/pi)
		}
	}
}

// Each unreadable or missing field is named with a reason.
func TestFromFastenerNamesWhatIsMissing(t *testing.T) {
	for _, c := range []struct {
		what    string
		change  func(*specdata.Fastener)
		missing string
		check   Check
	}{
		{"no thread", func(f *specdata.Fastener) { f.Thread = nil }, "thread.designation", CheckYield},
		{"bad thread", func(f *specdata.Fastener) { f.Thread.Designation = "M24x1.6" }, "thread.designation", CheckYield},
		{"bad class", func(f *specdata.Fastener) { f.Strength.Bolt = "88" }, "strength.bolt", CheckYield},
		{"no class", func(f *specdata.Fastener) { f.Strength = nil }, "strength.bolt", CheckYield},
		{"bad nut", func(f *specdata.Fastener) { f.Strength.Nut = "8.8" }, "strength.nut", CheckNut},
		{"no nut class", func(f *specdata.Fastener) { f.Thread.Into, f.Strength.Nut = "nut", "" }, "strength.nut", CheckNut},
		{"bad surface", func(f *specdata.Fastener) { f.Surface.Condition = "shiny" }, "surface", CheckYield},
		{"bad friction", func(f *specdata.Fastener) { f.Surface.Friction = "0.14..0.10" }, "surface", CheckYield},
		{"bad material", func(f *specdata.Fastener) { *f = *headBolt(); f.Thread.Into = "wood" }, "thread.into", CheckStrip},
		{"no engagement", func(f *specdata.Fastener) { *f = *headBolt(); f.Thread.Engagement = specdata.Quantity{} }, "thread.engagement", CheckStrip},
		{"no class of a nut on a stud in steel", func(f *specdata.Fastener) { f.Thread.Into, f.Strength.Nut = "steel", "" }, "strength.nut", CheckNut},
		{"no torque", func(f *specdata.Fastener) { f.Tightening.Stages = nil }, "tightening.stages", CheckYield},
		{"no tightening", func(f *specdata.Fastener) { f.Tightening = nil }, "tightening.stages", CheckYield},
		{"locking nut, nothing said", func(f *specdata.Fastener) { f.Lock = &specdata.Lock{By: "insert"} }, "tightening.drag", CheckDrag},
	} {
		f := hubNut()
		c.change(f)
		in, not := FromFastener(f)
		v := Judge(in)
		found := false
		for _, n := range append(not, v.NotChecked...) {
			if n.Check == c.check && n.Missing == c.missing {
				found = true
			}
			if n.Why == "" || n.Why[0] >= 'A' && n.Why[0] <= 'Z' {
				t.Errorf("%s: reason %q", c.what, n.Why)
			}
		}
		if !found {
			t.Errorf("%s: %s (%s) is not named: %+v %+v", c.what, c.check, c.missing, not, v.NotChecked)
		}
	}
	f := hubNut()
	f.Joint, f.Thread.Into = specdata.JointPlastic, "plastic"
	in, _ := FromFastener(f)
	if v := Judge(in); v.Class != NotJudged || len(v.NotChecked) == 0 {
		t.Errorf("plastic: %v %+v", v.Class, v.NotChecked)
	}
}

func TestFromFastenerFriction(t *testing.T) {
	f := hubNut()
	f.Surface.Friction = "0.10..0.14" // the record's own band wins over its condition's
	in, _ := FromFastener(f)
	if in.ThreadBand.Low != 0.10 || in.HeadBand.High != 0.14 {
		t.Errorf("own band: %+v", in.ThreadBand)
	}
	f.Surface = &specdata.Surface{Condition: "oiled", On: "thread"}
	in, _ = FromFastener(f)
	if in.ThreadBand.High != 0.12 || in.HeadBand.High != 0.20 || !in.HeadBand.Assumed {
		t.Errorf("oil on the thread alone: %+v %+v", in.ThreadBand, in.HeadBand)
	}
	if v := Judge(in); !strings.Contains(v.Text(), "friction under the head") {
		t.Error("two bands print as one")
	}
	f.Strength.Bolt, f.Surface.On = "A2-70", ""
	in, _ = FromFastener(f)
	if in.ThreadBand.High != 0.35 {
		t.Errorf("oiled stainless: %+v", in.ThreadBand)
	}
}

func TestFromFastenerDrag(t *testing.T) {
	f := headBolt()
	f.Lock = &specdata.Lock{By: "insert"}
	f.Tightening.Drag = "included"
	in, not := FromFastener(f)
	if len(not) != 0 || in.DragLow != 0 || in.DragHigh != 10.5 {
		t.Errorf("included, not said how much: %g to %g, %+v", in.DragLow, in.DragHigh, not)
	}
	f.Tightening.DragTorque = q("4 N.m")
	if in, _ = FromFastener(f); in.DragLow != 4 || in.DragHigh != 4 {
		t.Errorf("included, stated: %g to %g", in.DragLow, in.DragHigh)
	}
	f.Tightening.Drag = "add"
	if in, _ = FromFastener(f); in.DragHigh != 0 {
		t.Errorf("to be added: the printed value holds none, got %g", in.DragHigh)
	}
	f.Tightening.Drag, f.Tightening.DragTorque, f.Thread.Designation = "included", specdata.Quantity{}, "3/8-24 UNF"
	if _, not = FromFastener(f); len(not) != 1 || not[0].Check != CheckDrag {
		t.Errorf("no table for the size: %+v", not)
	}
}

func TestFromFastenerDrives(t *testing.T) {
	for _, c := range []struct {
		drive  string
		flange bool
		from   string
	}{
		{"hex 18 mm", false, "hexagon"}, {"hex 18 mm", true, "EN 1665"}, {"hex 16 mm", true, "EN 1662"}, {"hex-key 10 mm", false, "cap screw"}, {"hexalobular T55", false, "cap screw"},
		{"external-hexalobular E14", false, "flange"}, {"12-point 14 mm", false, "hexagon"}, {"hex 3/4 in", false, "hexagon"}, {"knurled", false, ""}, {"", false, ""}, {"hex 6 mm", false, ""},
	} {
		f := headBolt()
		f.Thread.Designation = "M12x1.5"
		f.Drive = &specdata.Drive{Turn: "head", Head: c.drive, Flange: c.flange}
		in, _ := FromFastener(f)
		if c.from == "" && !in.Bearing.IsZero() || !strings.Contains(in.Bearing.From, c.from) {
			t.Errorf("%q flange %v: bearing from %q, want %q", c.drive, c.flange, in.Bearing.From, c.from)
		}
		v := Judge(in)
		if b := v.Input.Bearing; !(b.MeanDiameter() > in.Thread.Major) || b.Assumed != (c.from == "") {
			t.Errorf("%q: judged with %+v", c.drive, b)
		}
	}
}

func TestSplitDrive(t *testing.T) {
	for _, c := range []struct {
		in, form string
		mm       float64
	}{{"hex 18 mm", "hex", 18}, {"hex 9/16 in", "hex", 14.2875}, {"hexalobular T30", "hexalobular", 0}, {"slot", "slot", 0}, {"flats 5.5 mm", "flats", 5.5}, {"hex -3 mm", "hex", -3}, {"hex 18 N.m", "hex", 0}} {
		form, m := SplitDrive(c.in)
		if form != c.form || math.Abs(m*1e3-c.mm) > 1e-9 {
			t.Errorf("%q: %q %g mm", c.in, form, m*1e3)
		}
	}
}

// A nut is judged by its class whatever its stud is screwed into: a thin nut and one of
// a low class are found on a wheel stud that stands in steel.
func TestNutOnStud(t *testing.T) {
	for _, into := range []string{"nut", "steel", "aluminium", "cast-iron"} {
		for class, pairs := range map[string]bool{"04": false, "5": false, "8": true, "10": true} {
			f := hubNut()
			f.Joint, f.Thread.Into, f.Strength.Nut = specdata.JointWheel, into, class
			in, _ := FromFastener(f)
			if v := Judge(in); !v.Nut.Checked || v.Nut.Pairs != pairs {
				t.Errorf("nut of class %s on a stud in %s: %+v, %+v", class, into, v.Nut, v.NotChecked)
			}
		}
	}
	f := headBolt() // a screw in a hole has no nut
	if in, _ := FromFastener(f); !in.Tapped || HasNut(f) {
		t.Error("a screw in a hole counts as a nut")
	}
}
