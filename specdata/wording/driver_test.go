package wording_test

import (
	"testing"

	"proofload/specdata"
	"proofload/specdata/wording"
)

// A closed socket is never named where it cannot go on: common practice, no source.
func TestDriverFor(t *testing.T) {
	hex := func(turn, head, nut string) *specdata.Drive { return &specdata.Drive{Turn: turn, Head: head, Nut: nut} }
	for _, c := range []struct {
		f    specdata.Fastener
		want string
	}{
		{specdata.Fastener{Head: specdata.Head{Title: "Wheel nut"}, Drive: hex("nut", "", "hex 19 mm")}, "19 mm hex socket"},
		{specdata.Fastener{Head: specdata.Head{Title: "Track rod locknut, left"}, Joint: "jam", Drive: hex("nut", "", "hex 21 mm")}, "21 mm open ring insert or crow-foot (no closed socket passes the rod)"},
		{specdata.Fastener{Head: specdata.Head{Title: "Brake pipe union"}, Joint: "union", Drive: hex("head", "hex 11 mm", "")}, "11 mm flare-nut spanner or crow-foot"},
		{specdata.Fastener{Head: specdata.Head{Title: "Front bleed screw"}, Joint: "taper", Drive: hex("head", "hex 9 mm", "")}, "9 mm ring spanner or crow-foot (the bleed hose stays on)"},
		{specdata.Fastener{Head: specdata.Head{Title: "Drop-link nut"}, Drive: hex("nut", "hex-key 5 mm", "hex 16 mm")}, "16 mm pass-through socket or crow-foot (the key goes through)"},
		{specdata.Fastener{Head: specdata.Head{Title: "Damper nut"}, Drive: hex("nut", "", "hex 16 mm"), Tightening: &specdata.Tightening{Hold: &specdata.Hold{Turns: "damper rod", With: "hex key 6 mm"}}}, "16 mm pass-through socket or crow-foot (the key goes through)"},
		{specdata.Fastener{Head: specdata.Head{Title: "Head bolt"}, Drive: hex("head", "hexalobular T50", "")}, "T50 hexalobular bit"},
		{specdata.Fastener{Head: specdata.Head{Title: "Clip"}}, ""},
	} {
		if got := wording.DriverFor(&c.f); got != c.want {
			t.Errorf("%s: %q, want %q", c.f.Title, got, c.want)
		}
	}
}

// The wrench that shows the whole band is named, and the smallest of several.
func TestWrench(t *testing.T) {
	p := &specdata.Procedure{Tools: []specdata.Tool{
		{ID: "medium", From: q("10 N.m"), To: q("60 N.m")}, {ID: "heavy", From: q("60 N.m"), To: q("700 N.m")}, {ID: "large", From: q("40 N.m"), To: q("210 N.m")}, {ID: "gauge"},
	}}
	for _, c := range []struct{ tool, torque, want string }{
		{"medium", "30 N.m", "medium"},
		{"medium", "58 N.m", "large"},   // 53 to 63 N·m
		{"medium", "60 N.m", "large"},   // at the end stop
		{"large", "41 N.m", "medium"},   // 36.9 to 45.1 N·m, under a fifth of 210 N·m
		{"medium", "900 N.m", "medium"}, // none does
		{"gauge", "58 N.m", "gauge"},
		{"gone", "58 N.m", ""},
	} {
		f := &specdata.Fastener{Tightening: &specdata.Tightening{Stages: []specdata.Stage{{Torque: q(c.torque)}}, Tolerance: q("10 %")}}
		got := ""
		if w := wording.Wrench(p, c.tool, f, []int{0}); w != nil {
			got = w.ID
		}
		if got != c.want {
			t.Errorf("%s with %s: %q, want %q", c.torque, c.tool, got, c.want)
		}
	}
}

func TestHold(t *testing.T) {
	for with, want := range map[string]string{
		"spanner 17 mm":                  "hold the nut with a 17 mm spanner",
		"spanner 18 mm":                  "hold the nut with an 18 mm spanner",
		"spanner 17 mm on the pin flats": "hold the nut with a 17 mm spanner on the pin flats",
		"thin spanner 36 mm":             "hold the nut with a 36 mm thin spanner",
		"hex key 5 mm":                   "hold the nut with a 5 mm hex key",
		"pulley holding bar":             "hold the nut with a pulley holding bar",
	} {
		if got := wording.Hold(&specdata.Hold{Turns: "nut", With: with}); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestReuse(t *testing.T) {
	for _, c := range []struct {
		r    specdata.Reuse
		want string
	}{
		{specdata.Reuse{Rule: "replace"}, "single use: fit new every time"},
		{specdata.Reuse{Rule: "replace", Renew: []string{"nut", "bolt"}}, "fit a new nut and bolt every time"},
		{specdata.Reuse{Rule: "replace-if-loosened"}, "fit new once loosened"},
		{specdata.Reuse{Rule: "reuse"}, "may be used again"},
		{specdata.Reuse{Rule: "reuse", Times: 3, Renew: []string{"split pin"}}, "may be used 3 times in all; fit a new split pin"},
	} {
		if got := wording.Reuse(&c.r); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// A step says its side where a reader needs it, and only there.
func TestSideOf(t *testing.T) {
	both := &specdata.Procedure{Sides: "both"}
	left := &specdata.Procedure{AppliesTo: []specdata.Applies{{Vehicle: "a", Side: specdata.SideLeft}}}
	act := func(v specdata.Verb) *specdata.Step {
		return &specdata.Step{Operations: []specdata.Operation{{Do: v, Target: "part:wheel"}}}
	}
	for _, c := range []struct {
		p    *specdata.Procedure
		s    *specdata.Step
		side specdata.Side
		text string
		want string
	}{
		{both, act(specdata.Remove), specdata.SideLeft, "Take the wheel off.", "left"},
		{both, act(specdata.Remove), specdata.SideLeft, "Take the left wheel off.", ""},
		{both, act(specdata.Remove), "", "Take the wheels off.", ""},
		{both, act(specdata.Advise), specdata.SideLeft, "Advise the customer.", ""},
		{both, act(specdata.Align), specdata.SideLeft, "Set the toe.", ""},
		{left, act(specdata.Remove), specdata.SideLeft, "Take the wheel off.", ""},
		{left, act(specdata.Remove), specdata.SideRight, "Take the wheel off.", "right"},
	} {
		if got := wording.SideOf(c.p, c.s, c.side, c.text); got != c.want {
			t.Errorf("%q %s: %q, want %q", c.text, c.side, got, c.want)
		}
	}
}

// Only a traction battery calls for insulating gloves.
func TestWear(t *testing.T) {
	job := func(target specdata.Target) *specdata.Procedure {
		return &specdata.Procedure{Cautions: []specdata.Caution{{Hazard: "electric-shock"}}, Steps: []specdata.Step{{Operations: []specdata.Operation{{Do: specdata.Isolate, Target: target}}}}}
	}
	gloves := "insulating gloves rated for the voltage"
	has := func(p *specdata.Procedure) bool {
		for _, w := range wording.Wear(p) {
			if w == gloves {
				return true
			}
		}
		return false
	}
	if has(job("electrics:battery")) || !has(job("electrics:high-voltage")) {
		t.Error("insulating gloves are for high voltage, and only for that")
	}
}

// After the last stage there is none to wait for.
func TestStageAt(t *testing.T) {
	two := &specdata.Tightening{Stages: []specdata.Stage{{Torque: q("300 N.m"), AllFirst: true}, {Torque: q("590 N.m"), AllFirst: true}}}
	for i, want := range []string{"tighten to 300 N·m (221 lbf·ft), all of them before the next stage", "tighten to 590 N·m (435 lbf·ft), all of them"} {
		if got := wording.StageAt(two, i); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
