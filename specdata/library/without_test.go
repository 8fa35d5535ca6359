package library

import (
	"slices"
	"testing"

	"proofload/specdata"
)

func TestWithout(t *testing.T) {
	fastener := func(id, vehicle string) *Entry {
		return &Entry{Record: &specdata.Fastener{Head: specdata.Head{Kind: specdata.KindFastener, ID: id}, AppliesTo: []specdata.Applies{{Vehicle: vehicle}}}}
	}
	a, b, c := fastener("a", "v"), fastener("b", "v"), fastener("c", "w")
	base, err := NewMemory(c, a, b)
	if err != nil {
		t.Fatal(err)
	}
	l := Without(base, "fasteners/b", "fasteners/none", "vehicles/v")
	if l.Get("fasteners/b") != nil || l.Get("fasteners/a") != a || l.Err() != nil {
		t.Error("Get gives what is gone, or not what is there")
	}
	if got := slices.Collect(l.All(specdata.KindFastener)); !slices.Equal(got, []*Entry{a, c}) {
		t.Errorf("All gives %v", got)
	}
	if got := slices.Collect(l.ForVehicle(specdata.KindFastener, "v")); !slices.Equal(got, []*Entry{a}) {
		t.Errorf("ForVehicle gives %v", got)
	}
	if got := l.Uses("vehicles/v"); !slices.Equal(got, []specdata.Name{"fasteners/a"}) {
		t.Errorf("Uses gives %v", got)
	}
	if got := base.Uses("vehicles/v"); !slices.Equal(got, []specdata.Name{"fasteners/a", "fasteners/b"}) {
		t.Errorf("the base was changed: %v", got)
	}
	for range l.All(specdata.KindFastener) {
		break // stopping early must not be overheard
	}
}

// One entry given twice is still one.
func TestOverlaySameEntryTwice(t *testing.T) {
	e := &Entry{Record: &specdata.Source{Head: specdata.Head{Kind: specdata.KindSource, ID: "a"}}}
	base, err := NewMemory()
	if err != nil {
		t.Fatal(err)
	}
	if got := Overlay(base, e, e).Get("sources/a"); got != e {
		t.Errorf("Get gives %v", got)
	}
}
