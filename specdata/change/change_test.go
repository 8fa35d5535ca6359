package change_test

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/change"
	"proofload/specdata/demo"
)

func TestFields(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		want           []change.Field
	}{
		{"the same in another order", `{"a":"1","b":"2"}`, `{"b":"2","a":"1"}`, nil},
		{"one field", `{"a":"1"}`, `{"a":"2"}`, []change.Field{{"/a", "1", "2"}}},
		{"in order of pointer", `{"b":"1","a":"1"}`, `{"b":"2","a":"2"}`, []change.Field{{"/a", "1", "2"}, {"/b", "1", "2"}}},
		{"deep", `{"t":{"x":["1","2"]}}`, `{"t":{"x":["1","3"]}}`, []change.Field{{"/t/x/1", "2", "3"}}},
		{"a list that grew is one field", `{"x":["1"]}`, `{"x":["1","<"]}`, []change.Field{{"/x", `["1"]`, `["1","<"]`}}},
		{"came and went", `{"a":true}`, `{"b":3}`, []change.Field{{"/a", "true", ""}, {"/b", "", "3"}}},
		{"keys that pointers escape", `{"a/b":"1"}`, `{"a/b":"2"}`, []change.Field{{"/a~1b", "1", "2"}}},
		{"no document before", "", `{"a":"1"}`, []change.Field{{"", "", `{"a":"1"}`}}},
		{"no document after", `{"a":"1"}`, "", []change.Field{{"", `{"a":"1"}`, ""}}},
	} {
		got, err := change.Fields(bytesOf(c.old), bytesOf(c.new))
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: got %+v, %v; want %+v", c.name, got, err, c.want)
		}
	}
	if _, err := change.Fields([]byte("{"), []byte("{}")); err == nil || !strings.Contains(err.Error(), "old document") {
		t.Errorf("a broken old document gives %v", err)
	}
}

func bytesOf(s string) []byte {
	if s == "" {
		return nil
	}
	return []byte(s)
}

// nut returns a fastener with these stages, each "torque", "low..high" or an angle.
func nut(stages ...string) *specdata.Fastener {
	f := &specdata.Fastener{Tightening: &specdata.Tightening{}}
	for _, s := range stages {
		var st specdata.Stage
		low, high, ranged := strings.Cut(s, "..")
		switch q := specdata.MustQuantity(low); {
		case q.Dimension() == specdata.Angle:
			st.Angle = q
		default:
			st.Torque = q
		}
		if ranged {
			st.UpTo = specdata.MustQuantity(high)
		}
		f.Tightening.Stages = append(f.Tightening.Stages, st)
	}
	return f
}

// The values in lbf·ft are those of a conversion with 1 lbf·ft = 1.355818 N·m
// (NIST SP 811, appendix B.8): 80 N·m is 59.0, 90 is 66.4, 70 is 51.6.
func TestMoves(t *testing.T) {
	for _, c := range []struct {
		name     string
		old, new *specdata.Fastener
		want     []string
	}{
		{"up", nut("80 N.m"), nut("90 N.m"), []string{"torque up 13 % from 80 N·m (59 lbf·ft) to 90 N·m (66 lbf·ft)"}},
		{"down", nut("80 N.m"), nut("70 N.m"), []string{"torque down 13 % from 80 N·m (59 lbf·ft) to 70 N·m (52 lbf·ft)"}},
		{"a little", nut("80 N.m"), nut("80.4 N.m"), []string{"torque up 0.5 % from 80 N·m (59 lbf·ft) to 80.4 N·m (59 lbf·ft)"}},
		{"twelve times", nut("10 N.m"), nut("120 N.m"), []string{"torque up 1100 % from 10 N·m (89 lbf·in) to 120 N·m (89 lbf·ft)"}},
		// 59.0 lbf·ft are 79.993 N·m: the same value as far as either print can tell.
		{"another unit", nut("80 N.m"), nut("59 lbf.ft"), []string{"torque printed another way, the same value: was 80 N·m (59 lbf·ft), is 80 N·m (59 lbf·ft)"}},
		{"lbf·in read as lbf·ft", nut("62 lbf.in"), nut("62 lbf.ft"), []string{"torque up 1100 % from 7 N·m (62 lbf·in) to 84 N·m (62 lbf·ft)"}},
		{"nothing", nut("80 N.m", "90 deg"), nut("80 N.m", "90 deg"), nil},
		{"an angle", nut("80 N.m", "90 deg"), nut("80 N.m", "120 deg"), []string{"angle up 33 % from 90° to 120°"}},
		{"a stage in front", nut("60 N.m", "90 deg"), nut("20 N.m", "60 N.m", "90 deg"), []string{"torque 1 of 2 new: 20 N·m (15 lbf·ft)"}},
		{"an angle instead of a torque", nut("30 N.m", "80 N.m"), nut("30 N.m", "90 deg"), []string{
			"torque 1 of 2 gone: was 30 N·m (22 lbf·ft)", "torque 2 of 2 down 63 % from 80 N·m (59 lbf·ft) to 30 N·m (22 lbf·ft)", "angle new: 90°"}},
		{"the top of a range", nut("50 N.m..60 N.m"), nut("50 N.m..75 N.m"), []string{"torque up 25 % from 50 to 60 N·m (37 to 44 lbf·ft) to 50 to 75 N·m (37 to 55 lbf·ft)"}},
		{"a range for a value", nut("50 N.m"), nut("50 N.m..55 N.m"), []string{"torque up 10 % from 50 N·m (37 lbf·ft) to 50 to 55 N·m (37 to 40 lbf·ft)"}},
		{"new", nil, nut("80 N.m"), []string{"torque new: 80 N·m (59 lbf·ft)"}},
		{"gone", nut("80 N.m"), nil, []string{"torque gone: was 80 N·m (59 lbf·ft)"}},
		{"no tightening", &specdata.Fastener{}, &specdata.Fastener{}, nil},
	} {
		var got []string
		for _, m := range change.Moves(c.old, c.new) {
			got = append(got, m.String())
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: got\n%s\nwant\n%s", c.name, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
	}
	old, new := nut("80 N.m"), nut("80 N.m")
	old.Tightening.DragTorque, new.Tightening.DragTorque = specdata.MustQuantity("2 N.m"), specdata.MustQuantity("3 N.m")
	ms := change.Moves(old, new)
	if len(ms) != 1 || ms[0].String() != "prevailing torque up 50 % from 2 N·m (18 lbf·in) to 3 N·m (27 lbf·in)" || ms[0].Pointer != "/tightening/drag_torque" {
		t.Errorf("prevailing torque: %v", ms)
	}
}

// A move and its reverse are of one size: up by r, then down by r/(1+r).
func TestMoveBackAgain(t *testing.T) {
	for _, pair := range [][2]string{{"80 N.m", "90 N.m"}, {"12 lbf.in", "12 lbf.ft"}, {"1 kgf.m", "10 N.m"}} {
		up, down := change.Moves(nut(pair[0]), nut(pair[1])), change.Moves(nut(pair[1]), nut(pair[0]))
		if len(up) != 1 || len(down) != 1 || math.Abs((1+up[0].Ratio)*(1+down[0].Ratio)-1) > 1e-12 {
			t.Errorf("%v: %+v and back %+v", pair, up, down)
		}
		if up[0].Pointer != "/tightening/stages/0/torque" || !up[0].Torque() {
			t.Errorf("%v: %+v", pair, up[0])
		}
	}
}

func TestPercent(t *testing.T) {
	for ratio, want := range map[float64]string{0.12: "up 12 %", -0.004: "down 0.4 %", 0.0999: "up 10 %", 0.125: "up 13 %", -0.5: "down 50 %", 0: "the same", 0.0004: "the same", 11: "up 1100 %"} {
		if got := change.Percent(ratio); got != want {
			t.Errorf("%g: got %q, want %q", ratio, got, want)
		}
	}
}

func doc(id, torque, safety string) []byte {
	f := nut(torque)
	f.Head = specdata.Head{Kind: specdata.KindFastener, ID: id, Title: "Nut " + id}
	f.Safety = safety
	b, err := json.Marshal(f)
	if err != nil {
		return nil
	}
	return b
}

func TestOf(t *testing.T) {
	a, b := doc("a", "80 N.m", "brake"), doc("a", "90 N.m", "")
	for _, c := range []struct {
		name     string
		old, new change.State
		how      change.How
		fields   int
		moves    int
		safety   string
	}{
		{"added", change.State{}, change.State{Document: b}, change.Added, 0, 0, ""},
		{"removed", change.State{Document: a}, change.State{}, change.Removed, 0, 0, "brake"},
		{"changed", change.State{Document: a}, change.State{Document: b}, change.Changed, 2, 1, "brake"},
		{"withdrawn", change.State{Document: a}, change.State{Document: a, Withdrawn: true}, change.Withdrawn, 0, 0, "brake"},
		{"revived as it was", change.State{Document: a, Withdrawn: true}, change.State{Document: a}, change.Revived, 0, 0, "brake"},
		{"revived with another value", change.State{Document: a, Withdrawn: true}, change.State{Document: b}, change.Revived, 2, 1, "brake"},
		{"the same", change.State{Document: a}, change.State{Document: a}, "", 0, 0, ""},
		{"came and went between", change.State{}, change.State{Document: a, Withdrawn: true}, "", 0, 0, ""},
		{"never there", change.State{}, change.State{}, "", 0, 0, ""},
	} {
		r, err := change.Of("fasteners/a", c.old, c.new)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if c.how == "" {
			if r != nil {
				t.Errorf("%s: got %+v, want nothing", c.name, r)
			}
			continue
		}
		if r == nil || r.How != c.how || len(r.Fields) != c.fields || len(r.Moves) != c.moves || r.Safety != c.safety || r.Title != "Nut a" {
			t.Errorf("%s: got %+v", c.name, r)
		}
	}
	if _, err := change.Of("fasteners/a", change.State{Document: []byte(`{"count":"x"}`)}, change.State{Document: a}); err == nil || !strings.Contains(err.Error(), "fasteners/a") || !strings.Contains(err.Error(), "old") {
		t.Errorf("an unreadable document gives %v", err)
	}
	if _, err := change.Of("bolts/a", change.State{}, change.State{Document: a}); err == nil || !strings.Contains(err.Error(), "bolts/a") {
		t.Errorf("an unknown collection gives %v", err)
	}
}

func TestSort(t *testing.T) {
	of := func(id, old, new, safety string) *change.Record {
		r, err := change.Of(specdata.Name("fasteners/"+id), change.State{Document: doc(id, old, safety)}, change.State{Document: doc(id, new, safety)})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	rs := []*change.Record{
		{Name: "procedures/p", How: change.Changed}, of("far", "10 N.m", "90 N.m", ""), of("up", "80 N.m", "90 N.m", "wheel"), of("down", "80 N.m", "40 N.m", "brake"),
		of("unit", "80 N.m", "59 lbf.ft", ""), {Name: "fasteners/title", How: change.Changed, Safety: "steering"}, {Name: "assemblies/a", How: change.Added},
	}
	change.Sort(rs)
	var got []string
	for _, r := range rs {
		got = append(got, r.Name.ID())
	}
	if want := "down up title far unit a p"; strings.Join(got, " ") != want {
		t.Errorf("order is %v, want %s", got, want)
	}
	if f := of("down", "80 N.m", "40 N.m", "").Furthest(); f != -0.5 {
		t.Errorf("furthest move is %g, want -0.5", f)
	}
}

// No document of the demo library differs from itself, and every one differs from
// every other of its kind in a way that can be told.
func TestDemoLibrary(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range specdata.Kinds {
		var last []byte
		for e := range lib.All(k) {
			same, err := change.Of(e.Name(), change.State{Document: e.Canonical}, change.State{Document: e.Canonical})
			if err != nil || same != nil {
				t.Errorf("%s against itself: %+v, %v", e.Name(), same, err)
			}
			if last != nil {
				r, err := change.Of(e.Name(), change.State{Document: last}, change.State{Document: e.Canonical})
				if err != nil || r == nil || len(r.Fields) == 0 {
					t.Errorf("%s against its neighbour: %+v, %v", e.Name(), r, err)
				}
			}
			last = e.Canonical
		}
	}
}

// Applying the fields to the old document gives the new one: nothing that differs
// is left out.
func FuzzFields(f *testing.F) {
	f.Add([]byte(`{"a":[1,2],"b":{"c":null}}`), []byte(`{"a":[1,3],"d":"x"}`))
	f.Add([]byte(`[]`), []byte(`{}`))
	f.Fuzz(func(t *testing.T, old, new []byte) {
		fields, err := change.Fields(old, new)
		if err != nil {
			return
		}
		var o, n any
		if old != nil && json.Unmarshal(old, &o) != nil || new != nil && json.Unmarshal(new, &n) != nil {
			t.Fatalf("no error for %q, %q", old, new)
		}
		if reflect.DeepEqual(o, n) && (old == nil) == (new == nil) != (len(fields) == 0) {
			t.Fatalf("%q to %q: %+v", old, new, fields)
		}
		for i, field := range fields {
			for _, other := range fields[i+1:] {
				if field.Pointer == other.Pointer || strings.HasPrefix(other.Pointer, field.Pointer+"/") {
					t.Fatalf("%q to %q: %s and %s overlap", old, new, field.Pointer, other.Pointer)
				}
			}
		}
		back, err := change.Fields(new, old)
		if err != nil || len(back) != len(fields) {
			t.Fatalf("%q to %q has %d fields, back %d, %v", old, new, len(fields), len(back), err)
		}
		for i := range back {
			if back[i] != (change.Field{Pointer: fields[i].Pointer, Old: fields[i].New, New: fields[i].Old}) {
				t.Fatalf("%+v is not the reverse of %+v", back[i], fields[i])
			}
		}
	})
}
