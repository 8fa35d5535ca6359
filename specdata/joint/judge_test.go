package joint

import (
	"strings"
	"testing"

	"proofload/specdata"
)

const poundFoot = 12 * PoundInch

// input builds an input from shop words; every field of it may be empty.
func input(t testing.TB, kind specdata.JointKind, thread, class, drive, surface string, torque float64) Input {
	t.Helper()
	f := &specdata.Fastener{
		Joint:      kind,
		Thread:     &specdata.Thread{Designation: thread, Hand: "right"},
		Drive:      &specdata.Drive{Turn: "head", Head: drive},
		Tightening: &specdata.Tightening{},
	}
	if class != "" {
		f.Strength = &specdata.Strength{Bolt: class}
	}
	if surface != "" {
		f.Surface = &specdata.Surface{Condition: surface}
	}
	in, not := FromFastener(f)
	if len(not) > 0 {
		t.Fatalf("%s %s: %v", thread, class, not)
	}
	in.Torque = torque
	return in
}

// Common practice, no source: values that workshops use every day and that must
// raise no error, and the same in the wrong unit, which must.
func TestOrdinaryValues(t *testing.T) {
	for _, c := range []struct {
		what   string
		kind   specdata.JointKind
		thread string
		class  string
		drive  string
		torque float64
	}{
		{"wheel nut", specdata.JointWheel, "M14x1.5", "10.9", "hex 22 mm", 130 * poundFoot},
		{"suspension through-bolt, coarse", specdata.JointClamp, "M16x2", "10.9", "hex 24 mm", 173 * poundFoot},
		{"suspension through-bolt, fine", specdata.JointClamp, "M16x1.5", "10.9", "hex 24 mm", 173 * poundFoot},
		{"link nut, coarse", specdata.JointClamp, "M12x1.75", "10.9", "hex 18 mm", 90 * poundFoot},
		{"link nut, fine", specdata.JointClamp, "M12x1.5", "10.9", "hex 18 mm", 90 * poundFoot},
		{"large hub nut, M22", specdata.JointBearing, "M22x1.5", "8.8", "hex 32 mm", 229 * poundFoot},
		{"large hub nut, M24", specdata.JointBearing, "M24x1.5", "8.8", "hex 32 mm", 229 * poundFoot},
		{"large hub nut, strong", specdata.JointBearing, "M24x1.5", "10.9", "hex 32 mm", 229 * poundFoot},
	} {
		for _, surface := range []string{"", "dry", "as-received", "threadlock", "oiled"} {
			in := input(t, c.kind, c.thread, c.class, c.drive, surface, c.torque)
			v := Judge(in)
			switch {
			case v.Class.Impossible(), v.Class == NotJudged:
				t.Errorf("%s, surface %q: %s", c.what, surface, v.Summary())
			case v.Class == Slack || v.Class == Low:
				t.Errorf("%s, surface %q: called too low: %s", c.what, surface, v.Summary())
			case surface == "dry" && v.Class > High:
				t.Errorf("%s, dry: an ordinary value is doubted: %s", c.what, v.Summary())
			}
			if c.kind == specdata.JointBearing && v.Class != Good {
				t.Errorf("%s, surface %q: %s", c.what, surface, v.Summary())
			}
			in.Torque *= 12
			if v := Judge(in); !v.Class.Impossible() {
				t.Errorf("%s ×12, surface %q, is let through: %s", c.what, surface, v.Summary())
			}
			in.Bolt = Grade{}
			if v := Judge(in); !v.Class.Impossible() {
				t.Errorf("%s ×12, class not stated, surface %q, is let through: %s", c.what, surface, v.Summary())
			}
		}
	}
}

func TestSlipsAreCaught(t *testing.T) {
	for _, c := range []struct {
		what, thread, class, drive, surface string
		kind                                specdata.JointKind
		torque                              float64
		want                                Class
	}{
		{"rule PH-1's bad example", "M10x1.5", "8.8", "hex 16 mm", "dry", specdata.JointClamp, 110, Breaks},
		{"the same, surface not stated", "M10x1.5", "8.8", "hex 16 mm", "", specdata.JointClamp, 110, Breaks},
		{"8 lbf.in read as lbf.ft", "M6", "8.8", "hex 10 mm", "dry", specdata.JointClamp, 108, Breaks},
		{"a digit lost from 120", "M12x1.75", "10.9", "hex 18 mm", "dry", specdata.JointClamp, 12, Slack},
		{"the same on a plug is fine", "M12x1.75", "10.9", "hex 18 mm", "dry", specdata.JointPlug, 12, Good},
		{"sump plug", "M14x1.5", "8.8", "hex 19 mm", "as-received", specdata.JointPlug, 30, Good},
		{"collar nut", "M24x1.5", "8.8", "hex 30 mm", "dry", specdata.JointBearing, 240, Good},
		{"table value at µ 0.12", "M10x1.5", "10.9", "hex 16 mm", "as-received", specdata.JointClamp, 71, High},
		{"only with dry threads", "M12x1.5", "8.8", "hex 19 mm", "dry", specdata.JointWheel, 110, MayYield},
	} {
		v := Judge(input(t, c.kind, c.thread, c.class, c.drive, c.surface, c.torque))
		if v.Class != c.want {
			t.Errorf("%s: %v, want %v: %s", c.what, v.Class, c.want, v.Summary())
		}
		if v.Summary() != strings.ToLower(v.Summary()[:1])+v.Summary()[1:] {
			t.Errorf("%s: summary does not begin in lower case: %s", c.what, v.Summary())
		}
	}
}

// The values of the trade's tables at 90 % of yield and µ 0.12 must never be more
// than "high" on a surface for which they are made.
func TestTableValuesAreNeverDoubted(t *testing.T) {
	for _, r := range rows(t, "torque_tables") {
		m, _ := r.num(t, "mu_total")
		if r["table"] != "VDI 2230 fine" || m > 0.121 {
			continue
		}
		torque, _ := r.num(t, "torque_Nm")
		for _, surface := range []string{"as-received", "dry", "", "precoated"} {
			v := Judge(input(t, specdata.JointClamp, r["thread"], r["class"], "", surface, torque))
			if v.Class != Good && v.Class != High {
				t.Errorf("%s %s µ %g surface %q: %s", r["thread"], r["class"], m, surface, v.Summary())
			}
		}
	}
}

// The fasteners of the invented demo jobs. None may be doubted, let alone refused.
func TestDemoFasteners(t *testing.T) {
	for _, c := range []struct {
		what, thread, class, drive, surface string
		kind                                specdata.JointKind
		torque                              float64
	}{
		{"wheel nut", "M12x1.5", "10.9", "hex 19 mm", "dry", "wheel", 110},
		{"caliper carrier bolt", "M10x1.5", "10.9", "hex 16 mm", "precoated", "clamp", 62},
		{"disc locating screw", "M6x1", "8.8", "hexalobular T30", "dry", "clamp", 8},
		{"wheel-speed sensor bolt", "M6x1", "8.8", "hex 10 mm", "dry", "clamp", 8},
		{"stub-axle collar nut", "M24x1.5", "8.8", "hex 30 mm", "dry", "bearing", 240},
		{"wheel bolt", "M14x1.5", "10.9", "hex 17 mm", "dry", "wheel", 130},
		{"ball-joint pinch bolt", "M10x1.5", "10.9", "hex 15 mm", "dry", "clamp", 58},
		{"front bush bolt", "M12x1.5", "10.9", "hex 18 mm", "dry", "clamp", 70},
		{"rear bush bracket bolt", "M10x1.5", "10.9", "hex 16 mm", "dry", "clamp", 55},
		{"drop-link nut", "M10x1.5", "8.8", "hex 16 mm", "dry", "clamp", 40},
		{"level-sensor link nut", "M6x1", "8.8", "hex 10 mm", "dry", "clamp", 8},
		{"undertray screw", "M6x1", "4.8", "hexalobular T25", "dry", "plastic", 3},
		{"wheel nut", "M14x1.5", "10.9", "hex 21 mm", "dry", "wheel", 160},
		{"guide-pin bolt", "M8x1.25", "10.9", "hex 13 mm", "precoated", "clamp", 28},
		{"caliper carrier bolt", "M12x1.5", "10.9", "hex 18 mm", "dry", "clamp", 105},
		{"disc locating screw", "M8x1.25", "8.8", "hexalobular T40", "dry", "clamp", 15},
		{"camshaft cap bolt", "M6x1", "8.8", "hex 10 mm", "dry", "clamp", 9},
		{"exhaust manifold nut", "M8x1.25", "8.8", "hex 12 mm", "dry", "clamp", 20},
		{"intake manifold bolt", "M8x1.25", "8.8", "hex 13 mm", "dry", "clamp", 18},
		{"coolant outlet bolt", "M6x1", "8.8", "hex 10 mm", "dry", "clamp", 9},
		{"camshaft sprocket bolt", "M10x1.25", "10.9", "hex 16 mm", "dry", "clamp", 60},
		{"rocker cover screw", "M6x1", "8.8", "hexalobular T30", "dry", "clamp", 8},
	} {
		in := input(t, c.kind, c.thread, c.class, c.drive, c.surface, c.torque)
		v := Judge(in)
		want := Good
		if c.kind == "plastic" {
			want = NotJudged
		}
		if v.Class != want {
			t.Errorf("%s: %s", c.what, v.Summary())
		}
		// The most dangerous slip of all, lbf·ft for N·m, stays quiet here by design:
		// no physics separates 62 N·m from 46. But ×10 and ×12 do not.
		for _, by := range []float64{10, 12} {
			in.Torque = by * c.torque
			if v := Judge(in); c.kind != "plastic" && !v.Class.Impossible() {
				t.Errorf("%s ×%g is let through: %s", c.what, by, v.Summary())
			}
		}
	}
}

// Cylinder-head and bush bolts are driven past yield on purpose: the torque stage
// is judged alone and the angle by its own model.
func TestTorqueAndAngle(t *testing.T) {
	head := input(t, specdata.JointClamp, "M10x1.5", "10.9", "hexalobular T50", "oiled", 40)
	head.Snug, head.Angle, head.Grip, head.Tapped = 40, pi, 118e-3, true
	head.Into, _ = TappedInto("cast-iron")
	v := Judge(head)
	if v.Class != Good {
		t.Errorf("head bolt: %s", v.Summary())
	}
	// The trade notes put it at about 88 kN asked of a bolt that yields at 55 kN
	// without torsion; torsion takes a tenth off the yield.
	if asked := v.Turn.SnugLow + v.Turn.AddedLow; v.Turn.Passing != PassesYield || asked < 80e3 || asked > 96e3 {
		t.Errorf("head bolt: %v, asks %.0f kN, yields at %.0f to %.0f kN", v.Turn.Passing, asked/1e3, v.Turn.YieldLow/1e3, v.Turn.YieldHigh/1e3)
	}
	if v.Turn.PlasticStretch <= 0 || v.Turn.PlasticStretch > 0.01*head.Grip {
		t.Errorf("head bolt: stretched %.2f mm past yield, want a little, under 1 %% of the grip", v.Turn.PlasticStretch*1e3)
	}
	short := head
	short.Angle, short.Snug, short.Torque = 20*pi/180, 20, 20
	if v := Judge(short); v.Turn.Passing != StaysElastic || v.Turn.ClampHigh != v.Turn.SnugHigh+v.Turn.AddedHigh {
		t.Errorf("a short angle passes yield: %+v", v.Turn)
	}
	low := head
	low.Torque, low.Snug = 5, 5 // a low start is no slack joint when an angle follows
	if v := Judge(low); v.Class != Good {
		t.Errorf("low torque before an angle: %s", v.Summary())
	}
	for _, c := range []struct {
		change func(*Input)
		want   string
	}{
		{func(in *Input) { in.Grip = 0 }, "thread.grip"},
		{func(in *Input) { in.Snug = 0 }, "tightening.stages"},
		{func(in *Input) { in.Bolt = Grade{} }, "strength.bolt"},
	} {
		in := head
		c.change(&in)
		v := Judge(in)
		found := false
		for _, n := range v.NotChecked {
			found = found || n.Check == CheckAngle && n.Missing == c.want
		}
		if !found || v.Turn.Checked {
			t.Errorf("without %s the angle is not said to be unchecked: %+v", c.want, v.NotChecked)
		}
	}
}

func TestStripping(t *testing.T) {
	in := input(t, specdata.JointClamp, "M8", "8.8", "hex 13 mm", "dry", 24)
	in.Tapped, in.Engagement = true, 8e-3
	in.Into, _ = TappedInto("aluminium")
	v := Judge(in)
	if !v.Stripping.Checked || v.Stripping.First != TappedThread || !v.Stripping.MayStrip || v.Stripping.Strips {
		t.Errorf("steel value in 8 mm of light alloy: %+v", v.Stripping)
	}
	in.Engagement = 20e-3
	if v := Judge(in); v.Stripping.MayStrip || v.Stripping.First == TappedThread {
		t.Errorf("2.5 d of light alloy: %+v", v.Stripping)
	}
	in.Engagement = 2e-3
	if v := Judge(in); !v.Stripping.Strips {
		t.Errorf("2 mm of light alloy: %+v", v.Stripping)
	}
	in.Into, _ = TappedInto("steel")
	in.Engagement = 10e-3
	if v := Judge(in); v.Stripping.MayStrip {
		t.Errorf("10 mm of steel: %+v", v.Stripping)
	}
	if _, err := TappedInto("cheese"); err == nil {
		t.Error("cheese has a strength")
	}
}

func TestNuts(t *testing.T) {
	in := input(t, specdata.JointClamp, "M10", "10.9", "hex 16 mm", "dry", 58)
	in.Nut, _ = ParseNutClass("8")
	if v := Judge(in); !v.Nut.Checked || v.Nut.Pairs || v.Nut.Least.Name != "10" {
		t.Errorf("class 8 nut on a 10.9 bolt: %+v", v.Nut)
	}
	in.Nut, _ = ParseNutClass("10")
	if v := Judge(in); !v.Nut.Pairs {
		t.Errorf("class 10 nut on a 10.9 bolt: %+v", v.Nut)
	}
	in.Bolt, _ = BoltGrade("grade 8", in.Thread.Major)
	if v := Judge(in); v.Nut.Checked {
		t.Errorf("ISO pairs an SAE grade: %+v", v.Nut)
	}
	if _, err := ParseNutClass("10.9"); err == nil || !strings.Contains(err.Error(), `"10"`) {
		t.Errorf("a bolt class as a nut class: %v", err)
	}
}

// What is missing is named; nothing passes in silence.
func TestNotChecked(t *testing.T) {
	if v := Judge(Input{}); v.Class != NotJudged || len(v.NotChecked) != 1 || v.NotChecked[0].Missing != "thread.designation" {
		t.Errorf("empty input: %+v", v.NotChecked)
	}
	v := Judge(Input{Thread: parse(t, "M10"), Torque: 50})
	if v.Class != NotJudged || !v.Input.ThreadBand.Assumed || !v.Input.Bearing.Assumed {
		t.Errorf("bare thread: %v %+v", v.Class, v.Input)
	}
	got := map[Check]string{}
	for _, n := range v.NotChecked {
		got[n.Check] = n.Missing
		if n.Why == "" {
			t.Errorf("%s gives no reason", n.Check)
		}
	}
	if got[CheckYield] != "strength.bolt" || got[CheckClamp] != "strength.bolt" || got[CheckNut] != "strength.nut" {
		t.Errorf("bare thread: %v", got)
	}
	if v := Judge(Input{Thread: parse(t, "M10"), Bolt: grade(t, "8.8", parse(t, "M10"))}); v.Class != NotJudged {
		t.Errorf("no torque is judged %v", v.Class)
	}
}

func TestPrevailingTorqueIsTakenOff(t *testing.T) {
	in := input(t, specdata.JointClamp, "M10", "8.8", "hex 16 mm", "dry", 50)
	free := Judge(in)
	in.DragLow, in.DragHigh = 5, 5
	drag := Judge(in)
	if d := drag.Window.High.Torque - free.Window.High.Torque; d < 4.999 || d > 5.001 {
		t.Errorf("the window moves by %g N·m, want 5", d)
	}
	if drag.ClampHigh >= free.ClampHigh {
		t.Error("drag does not cost clamp load")
	}
	in.DragLow, in.DragHigh = 0, 10.5 // included, not said how much
	if band := Judge(in); band.Window.High != free.Window.High || band.Window.OverYield.Torque <= free.Window.OverYield.Torque {
		t.Error("an unknown drag must count only where it is kind to the record")
	}
	in.Torque, in.DragLow, in.DragHigh = 5, 10, 10
	if v := Judge(in); v.ClampHigh != 0 || v.Class != Slack {
		t.Errorf("drag above the torque: %s", v.Summary())
	}
}
