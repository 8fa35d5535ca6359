package rules_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

// anyFact draws a fastener that the schema allows, sense or nonsense.
func anyFact(rt *rapid.T) fact {
	pick := func(label string, from ...string) string { return rapid.SampledFrom(from).Draw(rt, label) }
	torque := func() string {
		return fmt.Sprintf("%s %s", pick("number", "0", "0.5", "8", "26", "62", "115", "130", "310", "1560", "99999999"), pick("unit", "N.m", "lbf.ft", "lbf.in", "kgf.m", "ozf.in"))
	}
	var stages []string
	for range rapid.IntRange(1, 4).Draw(rt, "stages") {
		switch pick("stage", "torque", "torque", "pair", "range", "angle", "slacken", "wait", "seat") {
		case "torque":
			stages = append(stages, "{torque: "+torque()+"}")
		case "pair":
			stages = append(stages, "{torque: "+torque()+", also: "+torque()+"}")
		case "range":
			stages = append(stages, "{torque: "+torque()+", up_to: "+torque()+"}")
		case "angle":
			stages = append(stages, "{angle: "+pick("angle", "0 deg", "90 deg", "3/4 turn", "999 turn")+"}")
		case "slacken":
			stages = append(stages, "{slacken: true}")
		case "wait":
			stages = append(stages, "{wait: 0 min}")
		case "seat":
			stages = append(stages, "{seat: "+pick("seat", "hand", "stop")+"}")
		}
	}
	thread := pick("thread", "M10x1.5", "M24x1.5", "M10x1.3", "M99x1", "M1x9", "1/2-20 UNF", "1/2-18 UNF", `"#8-32 UNC"`, "1-14 UN", "9-9 UNEF") +
		", hand: " + pick("hand", "right", "left") + ", into: " + pick("into", "steel", "cast-iron", "aluminium", "plastic", "insert", "nut") +
		pick("engagement", "", ", engagement: 0 mm", ", engagement: 12 mm", ", engagement: 5/8 in") +
		pick("grip", "", ", grip: 0 mm", ", grip: 64 mm") + pick("length", "", ", length: 0 mm", ", length: 40 mm")
	drive := "{turn: " + pick("turn", "head", "nut") + pick("head", "", ", head: hex 16 mm", ", head: hex 9/16 in", ", head: hexalobular T30", ", head: slot") +
		pick("nut", "", ", nut: hex 999 mm", ", nut: hex-key 5 mm") + pick("special", "", ", special: true") + "}"
	joints := make([]string, len(specdata.JointKinds))
	for i, k := range specdata.JointKinds {
		joints[i] = string(k)
	}
	return fact{
		title: pick("title", "bolt", "bush bolt", "rubber hanger nut"), joint: pick("joint", joints...), thread: thread, drive: drive,
		strength: pick("strength", "", `{bolt: "10.9"}`, `{bolt: "9.9", nut: "04"}`, `{bolt: grade 8}`, `{bolt: A2-70, nut: "11"}`, `{nut: "8", finish: zinc plated}`, `{bolt: "45H"}`),
		surface:  pick("surface", "{condition: dry}", "{condition: greased, friction: 0.02..0.03}", "{condition: oiled, friction: 0.9..0.1, product: oil}", "{condition: precoated, \"on\": thread}"),
		stages:   "[" + strings.Join(stages, ", ") + "]",
		reuse:    pick("reuse", "reuse", "replace", "reuse, times: 5", "measure, measure: length, limit: 5 mm", "measure, measure: drag, limit: 0 N.m", "reuse, renew: [pin, washer, nut]"),
	}
}

// drawn is how many facts are tried in one run; every run tries the same ones.
const drawn = 100

// TestNoFastenerBreaksARule: whatever the schema allows, every rule comes to an
// end, says where and what, and says the same twice.
func TestNoFastenerBreaksARule(t *testing.T) {
	var texts []string
	for seed := range drawn {
		texts = append(texts, rapid.Custom(anyFact).Example(seed).document(fmt.Sprintf("fact-%03d", seed), ""))
	}
	first := judge(t, texts...)
	for i, found := range first {
		for _, f := range found {
			if f.Message == "" || f.Line == 0 || strings.Contains(f.Message, "%!") || strings.Contains(f.Message, "NaN") || strings.Contains(f.Message, "Inf") {
				t.Errorf("finding of %s at line %d: %q\n%s", f.Rule, f.Line, f.Message, texts[i])
			}
		}
	}
	if again := judge(t, texts...); !reflect.DeepEqual(again, first) {
		t.Error("two runs over the same facts differ")
	}
}

// TestMoreTorqueIsNoMend: what is over yield stays so when the torque is raised.
func TestMoreTorqueIsNoMend(t *testing.T) {
	var texts []string
	for seed := range drawn {
		f := rapid.Custom(anyFact).Example(seed)
		low := 1 + seed*7%1000
		for _, torque := range []int{low, low + 1 + seed*13%1000} {
			texts = append(texts, f.document(fmt.Sprintf("fact-%03d-%04d", seed, torque), fmt.Sprintf("%d N.m", torque)))
		}
	}
	over := func(found []specdata.Finding) bool {
		return slices.ContainsFunc(found, func(f specdata.Finding) bool { return f.Rule == "torque-over-yield" })
	}
	found, n := judge(t, texts...), 0
	for i := 0; i < len(found); i += 2 {
		if over(found[i]) && !over(found[i+1]) {
			t.Errorf("over yield, and with more torque not:\n%s\n%s", texts[i], texts[i+1])
		}
		if over(found[i+1]) {
			n++
		}
	}
	if n < drawn/20 {
		t.Errorf("only %d of %d facts are over yield; the draw shows nothing", n, drawn)
	}
}
