package specdata_test

import (
	"fmt"
	"slices"
	"testing"

	"proofload/specdata"
)

func TestThings(t *testing.T) {
	a := &specdata.Assembly{
		Parts:       []specdata.Part{{ID: "hub", HeldBy: []string{"nut"}}, {ID: "disc"}},
		Joints:      []specdata.Joint{{ID: "taper", HeldBy: []string{"pinch", "clamp"}}},
		Connections: []specdata.Connection{{ID: "hose", HeldBy: []string{"banjo"}}},
		Clips:       []specdata.Clip{{ID: "lead"}},
		Circuits:    []specdata.Circuit{{ID: "fluid"}},
	}
	var got []string
	for typ, id := range a.Things() {
		got = append(got, typ+":"+id)
	}
	if want := []string{"part:hub", "part:disc", "joint:taper", "connection:hose", "clip:lead", "circuit:fluid"}; !slices.Equal(got, want) {
		t.Errorf("things %q, want %q", got, want)
	}
	got = nil
	for at, ids := range a.HeldBy() {
		got = append(got, fmt.Sprint(at, ids))
	}
	if want := []string{"/parts/0/held_by[nut]", "/joints/0/held_by[pinch clamp]", "/connections/0/held_by[banjo]"}; !slices.Equal(got, want) {
		t.Errorf("held by %q, want %q", got, want)
	}
	for n := range 7 { // a sequence that goes on after it was stopped panics
		i := 0
		for range a.Things() {
			if i++; i == n {
				break
			}
		}
	}
	r := &specdata.Procedure{Tools: []specdata.Tool{{ID: "jack"}, {ID: "stand"}}, Steps: []specdata.Step{{ID: "up"}, {ID: "down"}}}
	if !r.HasTool("stand") || r.HasTool("up") {
		t.Error("a tool is looked up among something else than tools")
	}
	if tools, steps := slices.Collect(r.ToolIDs()), slices.Collect(r.StepIDs()); fmt.Sprint(tools, steps) != "[jack stand] [up down]" {
		t.Errorf("ids %q and %q", tools, steps)
	}
}
