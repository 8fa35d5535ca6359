package rules_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
	"proofload/tools/lint/ruletest"
)

// fact is a fastener with the fields that the physics and the tables look at, as
// documents write them; an empty field takes what the template has.
type fact struct {
	title, joint, thread, strength, drive, surface, stages, reuse string
}

// document writes the fact under an id, with one torque in place of its stages
// where that is given.
func (f fact) document(id, torque string) string {
	or := func(s, otherwise string) string {
		if s == "" {
			return otherwise
		}
		return s
	}
	stages := f.stages
	if torque != "" {
		stages = "[{torque: " + torque + "}]"
	}
	return fmt.Sprintf(`kind: fastener
id: %s
title: %s
applies_to: [{vehicle: tansy-2, side: each}]
place: %s
count: 1
joint: %s
thread: {designation: %s}
%sdrive: %s
surface: %s
tightening:
  stages: %s
  tolerance: 10 %%
  state: ride-height
  drag: not-applicable
  impact: removal-only
  hold: {turns: the other side, with: spanner}
reuse: {rule: %s}
%ssource: {document: tansy-2-chassis, at: sheet 4, read_on: "2026-09-14", entered_by: Maud Ibbot, checked_by: Piet Oram}
`, id, f.title, id, or(f.joint, "clamp"), f.thread, prefixed("strength: ", f.strength), f.drive, or(f.surface, "{condition: dry}"), stages, or(f.reuse, "reuse"), f.owes())
}

// owes writes what a fastener of that kind says beside its value.
func (f fact) owes() string {
	switch {
	case f.joint == "wheel":
		return "follow_ups: [{check: recheck-torque}]\nsafety: wheel\n"
	case f.joint == "bearing":
		return "follow_ups: [{check: turns-freely}]\nsafety: wheel\n"
	case f.joint == "plug":
		return "follow_ups: [{check: leak}]\n"
	}
	more := ""
	if strings.Contains(f.surface, "precoated") {
		more += "lock: {by: compound}\n"
	}
	if strings.Contains(f.title, "caliper") {
		more += "safety: brake\n"
	}
	return more
}

func prefixed(key, value string) string {
	if value == "" {
		return ""
	}
	return key + value + "\n"
}

// judge runs every rule over documents of facts in the shared world and returns the
// findings of each.
func judge(t *testing.T, texts ...string) [][]specdata.Finding {
	t.Helper()
	world, err := ruletest.World()
	if err != nil {
		t.Fatal(err)
	}
	var entries []*library.Entry
	for _, k := range specdata.Kinds {
		entries = slices.AppendSeq(entries, world.All(k))
	}
	var names []specdata.Name
	for _, text := range texts {
		id := strings.Fields(text)[3]
		doc, findings := document.Read("fasteners/"+id+".yaml", []byte(text))
		if doc == nil {
			t.Fatalf("fact cannot be read: %v\n%s", findings, text)
		}
		entries, names = append(entries, library.NewEntry(doc)), append(names, doc.Record.Name())
	}
	lib, err := library.NewMemory(entries...)
	if err != nil {
		t.Fatal(err)
	}
	rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: lib, Only: names, Date: ruletest.Date})
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]specdata.Finding, len(names))
	for _, f := range rep.Findings {
		i := slices.Index(names, f.Record)
		out[i] = append(out[i], f)
	}
	return out
}

// Values that workshops know by heart: common practice, no source.
var facts = []struct {
	fact
	torque, twelve string
}{
	{fact{title: "Wheel nut", joint: "wheel", thread: "M14x1.5, hand: right, into: nut", strength: `{bolt: "10.9"}`, drive: "{turn: nut, nut: hex 22 mm}"}, "130 lbf.ft", "1560 lbf.ft"},
	{fact{title: "Through bolt", thread: "M16x2, hand: right, into: nut", strength: `{bolt: "10.9", nut: "10"}`, drive: "{turn: nut, nut: hex 24 mm, head: hex 24 mm}"}, "173 lbf.ft", "2076 lbf.ft"},
	{fact{title: "Link nut", thread: "M12x1.75, hand: right, into: nut", strength: `{bolt: "10.9", nut: "10"}`, drive: "{turn: nut, nut: hex 18 mm}"}, "90 lbf.ft", "1080 lbf.ft"},
	{fact{title: "Link nut, fine thread", thread: "M12x1.5, hand: right, into: nut", strength: `{bolt: "10.9", nut: "10"}`, drive: "{turn: nut, nut: hex 18 mm}"}, "90 lbf.ft", "1080 lbf.ft"},
	{fact{title: "Hub nut", joint: "bearing", thread: "M24x1.5, hand: right, into: nut", strength: `{bolt: "8.8"}`, drive: "{turn: nut, nut: hex 32 mm, special: true}"}, "229 lbf.ft", "2748 lbf.ft"},
	{fact{title: "Hub nut, large", joint: "bearing", thread: "M27x1.5, hand: right, into: nut", strength: `{bolt: "8.8"}`, drive: "{turn: nut, nut: hex 32 mm, special: true}"}, "229 lbf.ft", "2748 lbf.ft"},
}

func TestTradeFacts(t *testing.T) {
	for _, f := range facts {
		t.Run(f.title, func(t *testing.T) {
			for _, found := range judge(t, f.document("fact", f.torque))[0] {
				if found.Severity != specdata.Advice {
					t.Errorf("%s at %s: %s: %s [%s]", f.thread, f.torque, found.Severity, found.Message, found.Rule)
				}
			}
			refused := false
			for _, found := range judge(t, f.document("fact", f.twelve))[0] {
				refused = refused || found.Rule == "torque-over-yield" && found.Severity == specdata.Error && strings.Contains(found.Message, "lbf·in was taken for lbf·ft")
			}
			if !refused {
				t.Errorf("%s at %s, twelve times too much, is not refused with the cause named", f.thread, f.twelve)
			}
		})
	}
}

// jobs are the fasteners of four everyday jobs, invented and plausible (common
// practice, no source): none may be called wrong.
var jobs = []fact{
	{title: "wheel nut M12", joint: "wheel", thread: "M12x1.5, hand: right, into: nut", strength: `{bolt: "10.9"}`, drive: "{turn: nut, nut: hex 19 mm}", stages: "[{torque: 110 N.m}]"},
	{title: "caliper carrier bolt M10", thread: "M10x1.5, hand: right, into: steel", strength: `{bolt: "10.9"}`, drive: "{turn: head, head: hex 16 mm}", surface: "{condition: precoated}", stages: "[{torque: 62 N.m}]", reuse: "replace"},
	{title: "disc locating screw M6", thread: "M6x1, hand: right, into: steel", strength: `{bolt: "8.8"}`, drive: "{turn: head, head: hexalobular T30}", stages: "[{torque: 8 N.m}]"},
	{title: "sensor bolt M6", joint: "sensor", thread: "M6x1, hand: right, into: steel", strength: `{bolt: "8.8"}`, drive: "{turn: head, head: hex 10 mm}", stages: "[{torque: 8 N.m}]"},
	{title: "stub-axle collar nut", joint: "bearing", thread: "M24x1.5, hand: right, into: nut", strength: `{bolt: "8.8"}`, drive: "{turn: nut, nut: hex 30 mm, special: true}", stages: "[{torque: 240 N.m}]", reuse: "replace"},
	{title: "wheel bolt M14", joint: "wheel", thread: "M14x1.5, hand: right, into: steel", strength: `{bolt: "10.9"}`, drive: "{turn: head, head: hex 17 mm}", stages: "[{torque: 130 N.m}]"},
	{title: "ball-joint pinch bolt", joint: "pinch", thread: "M10x1.5, hand: right, into: nut", strength: `{bolt: "10.9", nut: "10"}`, drive: "{turn: nut, nut: hex 15 mm, head: hex 16 mm}", stages: "[{torque: 58 N.m}]", reuse: "replace"},
	{title: "front bush bolt", thread: "M12x1.5, hand: right, into: nut, grip: 64 mm", strength: `{bolt: "10.9", nut: "10"}`, drive: "{turn: head, head: hex 18 mm, nut: hex 18 mm}", stages: "[{torque: 70 N.m}, {angle: 90 deg}]", reuse: "replace"},
	{title: "rear bush bracket bolt", thread: "M10x1.5, hand: right, into: steel", strength: `{bolt: "10.9"}`, drive: "{turn: head, head: hex 16 mm}", stages: "[{torque: 55 N.m}]"},
	{title: "drop-link nut", thread: "M10x1.5, hand: right, into: nut", strength: `{bolt: "8.8", nut: "8"}`, drive: "{turn: nut, nut: hex 16 mm, head: hex-key 5 mm}", stages: "[{torque: 40 N.m}]", reuse: "replace"},
	{title: "undertray screw", joint: "plastic", thread: "M6x1, hand: right, into: plastic", strength: `{bolt: "4.8"}`, drive: "{turn: head, head: hexalobular T25}", stages: "[{torque: 3 N.m}]"},
	{title: "wheel nut M14", joint: "wheel", thread: "M14x1.5, hand: right, into: nut", strength: `{bolt: "10.9"}`, drive: "{turn: nut, nut: hex 21 mm}", stages: "[{torque: 160 N.m}]"},
	{title: "guide-pin bolt", thread: "M8x1.25, hand: right, into: steel", strength: `{bolt: "10.9"}`, drive: "{turn: head, head: hex 13 mm}", surface: "{condition: precoated}", stages: "[{torque: 28 N.m}]", reuse: "replace"},
	{title: "caliper carrier bolt M12", thread: "M12x1.5, hand: right, into: steel", strength: `{bolt: "10.9"}`, drive: "{turn: head, head: hex 18 mm}", stages: "[{torque: 105 N.m}]"},
	{title: "disc locating screw M8", thread: "M8x1.25, hand: right, into: steel", strength: `{bolt: "8.8"}`, drive: "{turn: head, head: hexalobular T40}", stages: "[{torque: 15 N.m}]"},
	{title: "cylinder-head bolt", joint: "tension", thread: "M10x1.5, hand: right, into: aluminium, grip: 118 mm, engagement: 28 mm", strength: `{bolt: "10.9"}`, drive: "{turn: head, head: hexalobular T50}", surface: "{condition: oiled, product: engine oil}", stages: "[{torque: 20 N.m}, {torque: 40 N.m}, {angle: 90 deg}, {angle: 90 deg}]", reuse: "replace"},
	{title: "camshaft cap bolt", thread: "M6x1, hand: right, into: aluminium, engagement: 14 mm", strength: `{bolt: "8.8"}`, drive: "{turn: head, head: hex 10 mm}", stages: "[{torque: 9 N.m}]"},
	{title: "exhaust manifold nut", thread: "M8x1.25, hand: right, into: nut", strength: `{bolt: "8.8", nut: "8"}`, drive: "{turn: nut, nut: hex 12 mm}", stages: "[{torque: 20 N.m}]", reuse: "replace"},
	{title: "intake manifold bolt", thread: "M8x1.25, hand: right, into: aluminium, engagement: 16 mm", strength: `{bolt: "8.8"}`, drive: "{turn: head, head: hex 13 mm}", stages: "[{torque: 18 N.m}]"},
	{title: "coolant outlet bolt", thread: "M6x1, hand: right, into: aluminium, engagement: 12 mm", strength: `{bolt: "8.8"}`, drive: "{turn: head, head: hex 10 mm}", stages: "[{torque: 9 N.m}]"},
	{title: "camshaft sprocket bolt", thread: "M10x1.25, hand: right, into: steel", strength: `{bolt: "10.9"}`, drive: "{turn: head, head: hex 16 mm}", stages: "[{torque: 60 N.m}]"},
	{title: "rocker cover screw", thread: "M6x1, hand: right, into: aluminium, engagement: 12 mm", strength: `{bolt: "8.8"}`, drive: "{turn: head, head: hexalobular T30}", stages: "[{torque: 8 N.m}]"},
	{title: "sump plug", joint: "plug", thread: "M14x1.5, hand: right, into: steel", strength: `{bolt: "8.8"}`, drive: "{turn: head, head: hex 19 mm}", stages: "[{torque: 30 N.m}]"},
	{title: "thin locknut", joint: "jam", thread: "M14x1.5, hand: right, into: nut", strength: `{bolt: "8.8", nut: "04"}`, drive: "{turn: nut, nut: hex 22 mm}", stages: "[{torque: 50 N.m}]"},
}

func TestEverydayJobs(t *testing.T) {
	for _, f := range jobs {
		t.Run(f.title, func(t *testing.T) {
			for _, found := range judge(t, f.document("fact", ""))[0] {
				t.Errorf("%s: %s: %s [%s]", f.title, found.Severity, found.Message, found.Rule)
			}
		})
	}
}
