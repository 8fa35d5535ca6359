package specdata_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

func qty(s string) specdata.Quantity {
	if s == "" {
		return specdata.Quantity{}
	}
	return specdata.MustQuantity(s)
}

// The pairs are printed in public-domain US Army manuals, named beside them in the
// project notes (records-and-slips, section F): all agree, but for one that is
// rounded loosely, and the four named slips.
func TestAgreeOnPrintedPairs(t *testing.T) {
	for _, pair := range []string{
		"30 41", "20 27", "10 14", "90 122", "70 95", "25 34", "35 47", "85 115", "125 170", "55 75", "65 88", "150 203", "200 271", "80 108", "50 68", "60 81",
		"250 339", "400 542", "425 576", "325 440", "355 481", "29.5 40", "59 80", "66 90", "21 28", "7 10", "192 260", "113 153", "176 239", "343 465", "207 281", "399 541",
	} {
		ft, nm, _ := strings.Cut(pair, " ")
		if a, b := qty(ft+" lbf.ft"), qty(nm+" N.m"); !a.Agree(b) || !b.Agree(a) {
			t.Errorf("%s and %s do not agree", a, b)
		}
	}
	for _, c := range [][2]string{{"215 lbf.ft", "290 N.m"}, {"110 lbf.ft", "110 N.m"}, {"8 lbf.ft", "8 N.m"}, {"110 lbf.ft", "81 N.m"}, {"46 lbf.in", "62 N.m"}} {
		if qty(c[0]).Agree(qty(c[1])) {
			t.Errorf("%s and %s agree", c[0], c[1])
		}
	}
	if miss := qty("215 lbf.ft").Miss(qty("290 N.m")); miss > 0.01 {
		t.Errorf("the loose pair misses by %.3f, more than a hundredth", miss)
	}
}

func TestAgree(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"1/4 turn", "90 deg", true}, {"1/4 turn", "91 deg", false},
		{"10 N.m", "11 N.m", false}, // neighbours in one unit are two values
		{"10 N.m", "10.4 N.m", true}, {"10 N.m", "10.6 N.m", false}, {"8 N.m", "7.5 N.m", true}, {"0.5 in", "1/2 in", true}, {"9/16 in", "1/2 in", false},
		{"10.0 N.m", "11 N.m", false}, {"10 N.m", "10 deg", false}, {"", "10 N.m", false}, {"", "", true}, {"0 N.m", "0 lbf.ft", true},
	} {
		if got := qty(c.a).Agree(qty(c.b)); got != c.want {
			t.Errorf("%q agrees with %q: %v, want %v", c.a, c.b, got, c.want)
		}
	}
	for _, c := range []struct {
		a, b string
		want bool
	}{{"2 N.m", "2 lbf.ft", true}, {"2 N.m", "2 N.m", false}, {"2 N.m", "2 deg", false}, {"0 N.m", "0 lbf.ft", false}, {"2 N.m", "2.0 lbf.ft", false}, {"", "", false}} {
		if got := qty(c.a).Relabels(qty(c.b)); got != c.want {
			t.Errorf("%q relabels %q: %v, want %v", c.a, c.b, got, c.want)
		}
	}
	if !math.IsNaN(qty("10 N.m").Miss(qty("10 deg"))) {
		t.Error("a torque misses an angle by a number")
	}
}

// Whatever torque is printed, its conversion rounded to whole lbf·ft agrees with it.
func TestAgreeWithOwnConversion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nm := rapid.IntRange(1, 2000).Draw(t, "N·m")
		a := qty(fmt.Sprintf("%d N.m", nm))
		b := qty(fmt.Sprintf("%.0f lbf.ft", a.Float("lbf.ft")))
		if !a.Agree(b) || !b.Agree(a) {
			t.Fatalf("%s and %s do not agree", a, b)
		}
	})
}

func tightening(stages ...string) *specdata.Tightening {
	t := &specdata.Tightening{}
	for _, s := range stages {
		var st specdata.Stage
		switch {
		case s == "slacken":
			st.Slacken = true
		case strings.Contains(s, ".."):
			low, high, _ := strings.Cut(s, "..")
			st.Torque, st.UpTo = qty(low), qty(high)
		case qty(s).Dimension() == specdata.Angle:
			st.Angle = qty(s)
		default:
			st.Torque = qty(s)
		}
		t.Stages = append(t.Stages, st)
	}
	return t
}

func TestTighteningValues(t *testing.T) {
	a := tightening("50 N.m", "slacken", "40 N.m..45 N.m", "90 deg")
	if got := a.String(); got != "50 N·m, then 40 to 45 N·m + 90°" {
		t.Errorf("in words: %q", got)
	}
	if i, s := a.FinalTorque(); i != 2 || s.Torque.String() != "40 N.m" {
		t.Errorf("final torque is stage %d", i)
	}
	if i, s := tightening("slacken").FinalTorque(); i != -1 || s != nil {
		t.Errorf("a tightening without torque has a final one in stage %d", i)
	}
	if got := tightening("slacken").String(); got != "no value" {
		t.Errorf("a tightening without value says %q", got)
	}
	for _, c := range []struct {
		b    *specdata.Tightening
		want bool
	}{
		{tightening("50 N.m", "40 N.m..45 N.m", "1/4 turn"), true},
		{tightening("37 lbf.ft", "slacken", "40 N.m..45 N.m", "90 deg"), true},
		{tightening("50 N.m", "40 N.m..45 N.m"), false},
		{tightening("50 N.m", "40 N.m..45 N.m", "90 deg", "90 deg"), false},
		{tightening("50 N.m", "90 deg", "40 N.m..45 N.m"), false},
		{nil, false},
	} {
		if got := a.SameValues(c.b); got != c.want {
			t.Errorf("%s is the same as %s: %v, want %v", a, c.b, got, c.want)
		}
	}
	a.Stages[0].Also, a.Tolerance, a.AngleTolerance, a.DragTorque = qty("37 lbf.ft"), qty("10 %"), qty("5 deg"), qty("3 N.m")
	var got []string
	for at, q := range a.Quantities() {
		got = append(got, at+" "+q.String())
	}
	want := "/tightening/stages/0/torque 50 N.m|/tightening/stages/0/also 37 lbf.ft|/tightening/stages/2/torque 40 N.m|/tightening/stages/2/up_to 45 N.m|/tightening/stages/3/angle 90 deg|/tightening/tolerance 10 %|/tightening/angle_tolerance 5 deg|/tightening/drag_torque 3 N.m"
	if s := strings.Join(got, "|"); s != want {
		t.Errorf("quantities:\n got %s\nwant %s", s, want)
	}
}

func TestBounds(t *testing.T) {
	for _, c := range []struct {
		stage, tolerance string
		low, high        float64
	}{
		{"100 N.m", "", 90, 110}, {"100 N.m", "5 N.m", 95, 105}, {"100 N.m", "20 %", 80, 120}, {"90 N.m..120 N.m", "5 N.m", 90, 120}, {"3 N.m", "4 N.m", 0, 7},
	} {
		a := tightening(c.stage)
		a.Tolerance = qty(c.tolerance)
		if low, high := a.Bounds(&a.Stages[0]); math.Abs(low-c.low) > 1e-9 || math.Abs(high-c.high) > 1e-9 {
			t.Errorf("%s ± %q: %g to %g, want %g to %g", c.stage, c.tolerance, low, high, c.low, c.high)
		}
	}
	if low, _ := tightening("90 deg").Bounds(&tightening("90 deg").Stages[0]); !math.IsNaN(low) {
		t.Errorf("an angle is bounded by %g N·m", low)
	}
}
