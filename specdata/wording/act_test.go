package wording_test

import (
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/wording"
)

func q(s string) specdata.Quantity { return specdata.MustQuantity(s) }

var nut = &specdata.Fastener{
	Head: specdata.Head{ID: "nut", Title: "Wheel nut"}, Count: 5,
	Tightening: &specdata.Tightening{
		Stages: []specdata.Stage{{Torque: q("40 N.m")}, {Torque: q("110 N.m")}, {Angle: q("90 deg")}}, Tolerance: q("10 %"), AngleTolerance: q("5 deg"),
		State: specdata.StateOnGround, Drag: "not-applicable", Impact: "removal-only",
	},
	Reuse: &specdata.Reuse{Rule: "reuse"},
}

func TestAct(t *testing.T) {
	p := &specdata.Procedure{
		Tools:       []specdata.Tool{{ID: "wrench", Title: "Torque wrench, large"}, {ID: "key", Title: "Hex key", Size: "hex-key 5 mm"}},
		Consumables: []specdata.Consumable{{ID: "oil", Title: "Engine oil"}},
	}
	for _, c := range []struct {
		op   specdata.Operation
		name string
		f    *specdata.Fastener
		want string
	}{
		{specdata.Operation{Do: specdata.StageVerb, Target: "fastener:nut", Stage: 2, Tool: "wrench"}, "Wheel nut", nut, "tighten the wheel nut (5), stage 2 of 3: 110 N·m (81 lbf·ft), using torque wrench, large"},
		{specdata.Operation{Do: specdata.Turn, Target: "fastener:nut", Stage: 3}, "Wheel nut", nut, "turn the wheel nut (5), stage 3 of 3: 90°"},
		{specdata.Operation{Do: specdata.Tighten, Target: "fastener:nut", Positions: []int{1, 3}, With: "key"}, "Wheel nut", nut, "tighten the wheel nut: 40 N·m (30 lbf·ft), then 110 N·m (81 lbf·ft) + 90°, no. 1, 3, using hex key hex-key 5 mm"},
		{specdata.Operation{Do: specdata.Start, Target: "fastener:nut", New: true}, "Wheel nut", nut, "start new wheel nut (5) by hand"},
		{specdata.Operation{Do: specdata.Slacken, Target: "fastener:nut", By: q("180 deg"), Side: specdata.SideLeft}, "Wheel nut", nut, "slacken the wheel nut (5) by 180°, left side"},
		{specdata.Operation{Do: specdata.Fit, Target: "part:seal", New: true}, "Oil seal", nil, "fit a new oil seal"},
		{specdata.Operation{Do: specdata.Apply, Target: "place:bolt-threads", With: "oil"}, "", nil, "coat bolt threads, using engine oil"},
		{specdata.Operation{Do: specdata.SetAid, Target: "aid:key", With: "key"}, "Hex key", nil, "set the hex key"},
		{specdata.Operation{Do: specdata.Measure, Target: "part:drum", High: q("204.5 mm")}, "Drum", nil, "measure the drum: at most 204.5 mm"},
		{specdata.Operation{Do: specdata.Tighten, Target: "fastener:gone"}, "", nil, "tighten the gone"},
	} {
		if got := wording.Act(p, &c.op, c.name, c.f); got != c.want {
			t.Errorf("%s %s reads %q, want %q", c.op.Do, c.op.Target, got, c.want)
		}
	}
}

// Every verb of the vocabulary says what it does and to what.
func TestActNamesItsThing(t *testing.T) {
	without := map[specdata.Verb]bool{specdata.Secure: true, specdata.RoadTest: true, specdata.RecordJob: true, specdata.Release: true, specdata.RunEngine: true}
	for _, v := range specdata.Verbs {
		got := wording.Act(&specdata.Procedure{}, &specdata.Operation{Do: v, Target: "part:disc"}, "Brake disc", nil)
		if !without[v] && !strings.Contains(got, "brake disc") || got == "" {
			t.Errorf("%s reads %q", v, got)
		}
	}
}

func TestStages(t *testing.T) {
	for _, c := range []struct {
		stages              []int
		value, name, accept string
	}{
		{nil, "", "", ""},
		{[]int{1}, "110 N·m (81 lbf·ft)", "stage 2 of 3", "99 to 121 N·m (74 to 89 lbf·ft), ±10 %"},
		{[]int{1, 2}, "110 N·m (81 lbf·ft) + 90°", "stages 2 to 3 of 3", "99 to 121 N·m (74 to 89 lbf·ft), ±10 %; 90° ±5°"},
		{[]int{0, 1, 2}, "40 N·m (30 lbf·ft), then 110 N·m (81 lbf·ft) + 90°", "", "36 to 44 N·m (27 to 32 lbf·ft), ±10 %; 99 to 121 N·m (74 to 89 lbf·ft), ±10 %; 90° ±5°"},
		{[]int{7}, "", "", ""},
		{[]int{-1}, "", "", ""},
	} {
		if v, n, a := wording.Stages(nut.Tightening, c.stages), wording.StageNames(nut.Tightening, c.stages), wording.Accepted(nut.Tightening, c.stages); v != c.value || n != c.name || a != c.accept {
			t.Errorf("stages %v: %q, %q, %q; want %q, %q, %q", c.stages, v, n, a, c.value, c.name, c.accept)
		}
	}
}

func TestSentence(t *testing.T) {
	p := &specdata.Procedure{Tools: []specdata.Tool{{ID: "w", Title: "torque wrench"}}}
	known := func(id string) *specdata.Fastener {
		if id == "nut" {
			return nut
		}
		return nil
	}
	for text, want := range map[string]string{
		"Tighten to {stage:nut/2} with the {tool:w}.": "Tighten to 110 N·m (81 lbf·ft) with the torque wrench.",
		"Turn by {stage:nut/3}.":                      "Turn by 90°.",
		"Tighten to {torque:nut}.":                    "Tighten to 40 N·m (30 lbf·ft), then 110 N·m (81 lbf·ft) + 90°.",
		"{stage:nut/9} {stage:nut} {torque:gone}":     "{stage:nut/9} {stage:nut} {torque:gone}",
		"Measure it: {limit}.":                        "Measure it: 1 to 2 mm.",
	} {
		s := &specdata.Step{Text: text, Operations: []specdata.Operation{{Do: specdata.Measure, Low: q("1 mm"), High: q("2 mm")}}}
		if got := wording.Sentence(p, s, known); got != want {
			t.Errorf("%q reads %q, want %q", text, got, want)
		}
	}
}

// A pair that the source prints is printed as it stands where the two agree, and the band
// is in its unit.
func TestStageTorqueKeepsThePrintedPair(t *testing.T) {
	for _, c := range []struct{ torque, also, want, band string }{
		{"12 N.m", "9 lbf.ft", "12 N·m (9 lbf·ft)", "lbf·ft"},
		{"12 N.m", "", "12 N·m (106 lbf·in)", "lbf·in"},
		{"12 N.m", "19 lbf.ft", "12 N·m (106 lbf·in)", "lbf·in"}, // judged, never trusted
		{"30 lbf.ft", "41 N.m", "41 N·m (30 lbf·ft)", "lbf·ft"},
		{"27 N.m", "240 lbf.in", "27 N·m (240 lbf·in)", "lbf·in"},
	} {
		s := &specdata.Stage{Torque: q(c.torque)}
		if c.also != "" {
			s.Also = q(c.also)
		}
		if got := wording.StageTorque(s); got != c.want {
			t.Errorf("%s with %q reads %q, want %q", c.torque, c.also, got, c.want)
		}
		if b, _ := wording.BandOf(s, q("10 %")); !strings.HasSuffix(b.Imperial(), c.band) {
			t.Errorf("%s with %q is accepted %s, want it in %s", c.torque, c.also, b.Imperial(), c.band)
		}
	}
}
