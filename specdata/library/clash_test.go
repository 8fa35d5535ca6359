package library_test

import (
	"fmt"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/library"
)

// bolt builds a fastener of one torque at one place; change says how it differs.
func bolt(id string, change func(*specdata.Fastener)) *library.Entry {
	f := &specdata.Fastener{
		Head:       specdata.Head{Kind: specdata.KindFastener, ID: id, Title: "Arm bolt"},
		AppliesTo:  []specdata.Applies{{Vehicle: "tansy-2"}},
		Place:      "lower arm",
		Thread:     &specdata.Thread{Designation: "M12x1.5"},
		Tightening: &specdata.Tightening{Stages: []specdata.Stage{{Torque: specdata.MustQuantity("60 N.m")}}},
	}
	if change != nil {
		change(f)
	}
	return &library.Entry{Record: f}
}

func TestClashes(t *testing.T) {
	other := func(f *specdata.Fastener) {
		f.Tightening.Stages[0].Torque = specdata.MustQuantity("75 N.m")
	}
	for _, c := range []struct {
		name string
		b    func(*specdata.Fastener)
		want string // of the clash that a sees, "" for none
	}{
		{"same value", nil, "alike certain"},
		{"other value", other, "certain"},
		{"other writing", func(f *specdata.Fastener) { f.Title, f.Place = "ARM-bolts", "lower-arm" }, "alike certain"},
		{"other place", func(f *specdata.Fastener) { f.Place = "upper arm" }, ""},
		{"other title", func(f *specdata.Fastener) { f.Title = "Arm nut" }, ""},
		{"other vehicle", func(f *specdata.Fastener) { f.AppliesTo[0].Vehicle = "tansy-3" }, ""},
		{"other thread", func(f *specdata.Fastener) { f.Thread.Designation = "M14x1.5" }, "alike certain thread"},
		{"later builds", func(f *specdata.Fastener) { f.AppliesTo[0].Built = &specdata.Built{From: "2019-W27"} }, "alike certain split"},
		{"bolt and nut", func(f *specdata.Fastener) {
			other(f)
			f.Pairs = []specdata.Pair{{Fastener: "a", As: "bolt-nut"}}
		}, ""},
		{"first stage", func(f *specdata.Fastener) { f.Pairs = []specdata.Pair{{Fastener: "a", As: "first-stage"}} }, ""},
		{"declared", func(f *specdata.Fastener) { f.Pairs = []specdata.Pair{{Fastener: "a", As: "same-joint"}} }, "alike certain declared"},
		{"one clause over the same builds", func(f *specdata.Fastener) {
			f.AppliesTo = []specdata.Applies{{Vehicle: "tansy-2", Built: &specdata.Built{To: "2019-W26"}}, {Vehicle: "tansy-2", Where: map[string][]string{"engine": {"d15"}}}}
		}, "alike certain clause 1"},
	} {
		a := bolt("a", nil)
		l, err := library.NewMemory(a, bolt("b", c.b))
		if err != nil {
			t.Fatal(err)
		}
		f := a.Record.(*specdata.Fastener)
		var got []string
		for _, x := range library.Clashes(l, f, library.Duplicates(l, f)) {
			var s []string
			for _, w := range []struct {
				is   bool
				word string
			}{{x.Alike, "alike"}, {x.Certain, "certain"}, {x.Split, "split"}, {x.OtherThread, "thread"}, {x.Declared, "declared"}, {x.OtherClause > 0, fmt.Sprintf("clause %d", x.OtherClause)}} {
				if w.is {
					s = append(s, w.word)
				}
			}
			got = append(got, strings.Join(s, " "))
		}
		if s := strings.Join(got, "; "); s != c.want {
			t.Errorf("%s: clashes %q, want %q", c.name, s, c.want)
		}
	}
}

// A pair of one joint clashes under any title, and is found once.
func TestClashesOfDeclaredPair(t *testing.T) {
	a := bolt("a", func(f *specdata.Fastener) { f.Pairs = []specdata.Pair{{Fastener: "b", As: "same-joint"}} })
	l, err := library.NewMemory(a, bolt("b", func(f *specdata.Fastener) { f.Title = "Arm to frame screw" }))
	if err != nil {
		t.Fatal(err)
	}
	f := a.Record.(*specdata.Fastener)
	if cs := library.Clashes(l, f, library.Duplicates(l, f)); len(cs) != 1 || !cs[0].Declared || cs[0].Fastener().ID != "b" {
		t.Errorf("clashes %+v, want one with b", cs)
	}
}

// Sharing two vehicles does not make two duplicates, and a record is not its own.
func TestNamesakesOnce(t *testing.T) {
	two := func(f *specdata.Fastener) {
		f.AppliesTo = []specdata.Applies{{Vehicle: "tansy-2"}, {Vehicle: "tansy-3"}, {Vehicle: "tansy-2", Side: "left"}}
	}
	a := bolt("a", two)
	l, err := library.NewMemory(a, bolt("b", two), bolt("c", func(f *specdata.Fastener) { f.Title = "Left arm bolt" }))
	if err != nil {
		t.Fatal(err)
	}
	f := a.Record.(*specdata.Fastener)
	ids := func(es []*library.Entry) (s string) {
		for _, e := range es {
			s += string(e.Name()) + " "
		}
		return s
	}
	if got := ids(library.Duplicates(l, f)); got != "fasteners/b " {
		t.Errorf("duplicates %s", got)
	}
	if got := ids(library.Duplicates(l, f, "left")); got != "fasteners/b fasteners/c " {
		t.Errorf("duplicates but for the side %s", got)
	}
}
