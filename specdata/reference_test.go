package specdata_test

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
	"proofload/specdata/demo"
)

// at follows a JSON pointer.
func at(v any, pointer string) any {
	if pointer == "" {
		return v
	}
	for _, token := range strings.Split(pointer[1:], "/") {
		switch w := v.(type) {
		case map[string]any:
			v = w[strings.ReplaceAll(strings.ReplaceAll(token, "~1", "/"), "~0", "~")]
		case []any:
			i, err := strconv.Atoi(token)
			if err != nil || i >= len(w) {
				return nil
			}
			v = w[i]
		default:
			return nil
		}
	}
	return v
}

func TestReferences(t *testing.T) {
	head := func(k specdata.Kind) specdata.Head { return specdata.Head{Kind: k, ID: "x", Replaces: "old"} }
	cite := &specdata.Citation{Document: "src"}
	applies := []specdata.Applies{{Vehicle: "v1"}, {Vehicle: "v2"}}
	for _, tt := range []struct {
		record specdata.Record
		want   string
	}{
		{&specdata.Vehicle{Head: head("vehicle"), Source: cite}, "/replaces vehicles/old, /source/document sources/src"},
		{&specdata.Fastener{Head: head("fastener"), AppliesTo: applies, Pairs: []specdata.Pair{{Fastener: "f"}}, Source: cite},
			"/replaces fasteners/old, /applies_to/0/vehicle vehicles/v1, /applies_to/1/vehicle vehicles/v2, /pairs/0/fastener fasteners/f, /source/document sources/src"},
		{&specdata.Assembly{Head: head("assembly"), AppliesTo: applies[:1], Parts: []specdata.Part{{ID: "p", HeldBy: []string{"a", "b"}}}, Joints: []specdata.Joint{{HeldBy: []string{"c"}}}, Connections: []specdata.Connection{{}, {HeldBy: []string{"d"}}}, Source: cite},
			"/replaces assemblies/old, /applies_to/0/vehicle vehicles/v1, /parts/0/held_by/0 fasteners/a, /parts/0/held_by/1 fasteners/b, /joints/0/held_by/0 fasteners/c, /connections/1/held_by/0 fasteners/d, /source/document sources/src"},
		{&specdata.Procedure{Head: head("procedure"), AppliesTo: applies[:1], Assemblies: []string{"as"}, Parts: []specdata.NewPart{{Part: "disc"}, {Fastener: "n"}},
			Steps: []specdata.Step{{Text: "Tighten to {torque:t1} then {torque:t2} with {tool:w}.", Operations: []specdata.Operation{{Target: "part:disc"}, {Target: "fastener:t3"}}}}, Source: cite},
			"/replaces procedures/old, /applies_to/0/vehicle vehicles/v1, /assemblies/0 assemblies/as, /parts/1/fastener fasteners/n, /steps/0/text fasteners/t1, /steps/0/text fasteners/t2, /steps/0/operations/1/target fasteners/t3, /source/document sources/src"},
		{&specdata.Source{Head: head("source"), Supersedes: []string{"s1"}, Concerns: []string{"v1"}}, "/replaces sources/old, /supersedes/0 sources/s1, /concerns/0 vehicles/v1"},
		{&specdata.Source{Head: specdata.Head{Kind: "source", ID: "x"}}, ""},
	} {
		var got []string
		for _, r := range specdata.References(tt.record) {
			got = append(got, r.Pointer+" "+string(r.Name))
		}
		if s := strings.Join(got, ", "); s != tt.want {
			t.Errorf("%s refers to\n%s\nwant\n%s", tt.record.Name(), s, tt.want)
		}
	}
}

// Where a reference is said to stand, the id stands; and the demo library holds
// what it refers to.
func TestReferencesOfTheDemo(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			var doc any
			if err := json.Unmarshal(e.Canonical, &doc); err != nil {
				t.Fatal(err)
			}
			refs := specdata.References(e.Record)
			names := specdata.Referred(e.Record)
			if !slices.EqualFunc(refs, names, func(r specdata.Reference, n specdata.Name) bool { return r.Name == n }) {
				t.Errorf("%s refers to %q and to %q", e.Name(), refs, names)
			}
			for _, r := range refs {
				n++
				if s, _ := at(doc, r.Pointer).(string); s != r.Name.ID() && s != "fastener:"+r.Name.ID() && !strings.Contains(s, "{torque:"+r.Name.ID()+"}") && !strings.Contains(s, "{stage:"+r.Name.ID()+"/") && !strings.Contains(s, "{recheck:"+r.Name.ID()+"}") {
					t.Errorf("%s: %q stands at %s, not %s", e.Name(), s, r.Pointer, r.Name)
				}
				if lib.Get(r.Name) == nil {
					t.Errorf("%s refers to %s, which is not there", e.Name(), r.Name)
				}
			}
		}
	}
	if n < 500 {
		t.Errorf("%d references", n)
	}
}

func TestPlaceholders(t *testing.T) {
	for text, want := range map[string]string{
		"":                                "",
		"Tighten to {torque:a-b}.":        "a-b",
		"{torque:a}{torque:b} {torque:a}": "a b a",
		"{tool:a} {torque} {torque:":      "",
		"{torque:a":                       "",
		"{torque:}":                       "",
		"{ torque:a}":                     "",
		"{torque:a {torque:b}":            "a {torque:b",
	} {
		if got := strings.Join(specdata.Placeholders(text, "torque"), " "); got != want {
			t.Errorf("%q holds %q, want %q", text, got, want)
		}
	}
}

// RFC 6901, section 3: the tilde first, or the slash would be escaped twice.
func TestEscapePointer(t *testing.T) {
	for token, want := range map[string]string{"": "", "a": "a", "a/b": "a~1b", "m~n": "m~0n", "~1": "~01", "/~": "~1~0", "é": "é"} {
		if got := specdata.EscapePointer(token); got != want {
			t.Errorf("%q becomes %q, want %q", token, got, want)
		}
	}
}

func TestAppliesOf(t *testing.T) {
	as := []specdata.Applies{{Vehicle: "v"}}
	c := &specdata.Citation{Document: "d"}
	for _, r := range []specdata.Record{&specdata.Fastener{AppliesTo: as, Source: c}, &specdata.Assembly{AppliesTo: as, Source: c}, &specdata.Procedure{AppliesTo: as, Source: c}} {
		if len(specdata.AppliesOf(r)) != 1 || specdata.CitationOf(r) != c {
			t.Errorf("%T has no applicability or citation", r)
		}
	}
	if specdata.AppliesOf(&specdata.Vehicle{}) != nil || specdata.AppliesOf(&specdata.Source{}) != nil || specdata.CitationOf(&specdata.Source{}) != nil || specdata.CitationOf(&specdata.Vehicle{Source: c}) != c {
		t.Error("a kind has what it has not, or lacks what it has")
	}
}

// One vehicle of every make-up, tried against both clauses, is the meaning of Overlap.
func TestAppliesOverlapByTrial(t *testing.T) {
	options := map[string][]string{"brake": {"disc", "drum"}, "engine": {"p", "d"}}
	clause := func(t *rapid.T, label string) specdata.Applies {
		a := specdata.Applies{
			Vehicle: rapid.SampledFrom([]string{"v", "w"}).Draw(t, label+" vehicle"),
			Side:    rapid.SampledFrom([]specdata.Side{"", specdata.SideLeft, specdata.SideRight, specdata.SideEach, specdata.SideCentre}).Draw(t, label+" side"),
		}
		for _, k := range []string{"brake", "engine"} {
			if vs := rapid.SliceOfNDistinct(rapid.SampledFrom(options[k]), 0, 2, rapid.ID).Draw(t, label+" "+k); len(vs) > 0 {
				if a.Where == nil {
					a.Where = map[string][]string{}
				}
				a.Where[k] = vs
			}
		}
		if from := rapid.IntRange(0, 3).Draw(t, label+" from"); from > 0 {
			a.Built = &specdata.Built{From: "no " + strconv.Itoa(from), To: "no " + strconv.Itoa(from+rapid.IntRange(0, 2).Draw(t, label+" builds"))}
		}
		return a
	}
	holds := func(a specdata.Applies, brake, engine string, build int, side specdata.Side) bool {
		one := &specdata.Built{From: "no " + strconv.Itoa(build), To: "no " + strconv.Itoa(build)}
		ok := func(key, v string) bool { return a.Where[key] == nil || slices.Contains(a.Where[key], v) }
		where := a.Side
		if where == "" {
			where = specdata.SideEach
		}
		return ok("brake", brake) && ok("engine", engine) && one.Within(a.Built) &&
			(where == side || where == specdata.SideEach && side != specdata.SideCentre)
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := clause(t, "a"), clause(t, "b")
		want := false
		for _, brake := range options["brake"] {
			for _, engine := range options["engine"] {
				for build := 1; build <= 5; build++ {
					for _, side := range []specdata.Side{specdata.SideLeft, specdata.SideRight, specdata.SideCentre} {
						want = want || a.Vehicle == b.Vehicle && holds(a, brake, engine, build, side) && holds(b, brake, engine, build, side)
					}
				}
			}
		}
		if got := a.Overlap(b); got != want || b.Overlap(a) != want {
			t.Fatalf("%+v and %+v overlap: %v, want %v", a, b, got, want)
		}
	})
}
