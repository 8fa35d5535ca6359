package draft_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/document"
	"proofload/specdata/draft"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// assembly draws a small random assembly: parts in front of each other, held by
// fasteners, joined to each other, carried by connections and clips. Rings are
// allowed: some parts cannot be freed.
func assembly(t *rapid.T) (*specdata.Assembly, []*specdata.Fastener) {
	nParts := rapid.IntRange(1, 4).Draw(t, "parts")
	nFasteners := rapid.IntRange(0, 3).Draw(t, "fasteners")
	var fs []*specdata.Fastener
	var fids []string
	for i := range nFasteners {
		id := fmt.Sprintf("f%d", i)
		fids = append(fids, id)
		fs = append(fs, &specdata.Fastener{
			Head:      specdata.Head{Kind: specdata.KindFastener, ID: id, Title: "Bolt " + id},
			AppliesTo: []specdata.Applies{{Vehicle: "v"}}, Place: "x", Count: 1, Joint: specdata.JointClamp,
			Drive:      &specdata.Drive{Turn: "head", Head: "hex 13 mm"},
			Tightening: &specdata.Tightening{Stages: []specdata.Stage{{Torque: specdata.MustQuantity("25 N.m")}}, State: rapid.SampledFrom([]specdata.VehicleState{specdata.StateAny, specdata.StateAny, specdata.StateOnGround, specdata.StateRideHeight, specdata.StateCold}).Draw(t, "state"), Drag: "not-applicable", Impact: "allowed"},
			Reuse:      rapid.SampledFrom([]*specdata.Reuse{{Rule: "reuse"}, {Rule: "replace"}, {Rule: "replace", Renew: []string{"washer"}}}).Draw(t, "reuse"),
		})
		if rapid.IntRange(0, 3).Draw(t, "narrow") == 0 {
			fs[i].AppliesTo[0].Where = map[string][]string{"engine": {"a"}}
		}
		if rapid.IntRange(0, 3).Draw(t, "locked") == 0 {
			fs[i].Lock = &specdata.Lock{By: "stake"}
		}
	}
	a := &specdata.Assembly{Head: specdata.Head{Kind: specdata.KindAssembly, ID: "a", Title: "A"}, AppliesTo: []specdata.Applies{{Vehicle: "v"}}, Place: "x"}
	var ids []string
	for i := range nParts {
		ids = append(ids, fmt.Sprintf("p%d", i))
	}
	some := func(from []string, label string) []string {
		var out []string
		for _, id := range from {
			if rapid.IntRange(0, 3).Draw(t, label) == 0 {
				out = append(out, id)
			}
		}
		return out
	}
	for _, id := range ids {
		behind := slices.DeleteFunc(some(ids, "behind"), func(o string) bool { return o == id })
		a.Parts = append(a.Parts, specdata.Part{ID: id, Title: "Part " + id, HeldBy: some(fids, "held"), Behind: behind, Renew: rapid.Bool().Draw(t, "renew")})
	}
	if nParts > 1 {
		for i := range rapid.IntRange(0, 3).Draw(t, "joints") {
			pair := rapid.Permutation(ids).Draw(t, "pair")[:2]
			a.Joints = append(a.Joints, specdata.Joint{ID: fmt.Sprintf("j%d", i), Title: fmt.Sprintf("Joint j%d", i), Kind: rapid.SampledFrom([]string{"taper", "slide", "ball", "press", "press"}).Draw(t, "kind"), Between: pair, HeldBy: some(fids, "jheld")})
		}
	}
	for i := range rapid.IntRange(0, 1).Draw(t, "connections") {
		a.Connections = append(a.Connections, specdata.Connection{ID: fmt.Sprintf("c%d", i), Title: fmt.Sprintf("Plug c%d", i), Kind: "plug", Holds: some(ids, "cholds")})
	}
	for i := range rapid.IntRange(0, 1).Draw(t, "clips") {
		a.Clips = append(a.Clips, specdata.Clip{ID: fmt.Sprintf("k%d", i), Title: fmt.Sprintf("Clip k%d", i), Holds: some(ids, "kholds")})
	}
	a.End = rapid.SampledFrom([]string{"", "front", "rear"}).Draw(t, "end")
	a.Handed = rapid.Bool().Draw(t, "handed")
	a.RideHeight = &specdata.RideHeight{Measure: "hub to arch", Value: specdata.MustQuantity("350 mm")}
	for i := range a.Parts {
		p := &a.Parts[i]
		if aid := rapid.SampledFrom([]string{"", "", "timing-pin", "tensioner-pin", "spring-compressor", "caging bolt", "arm-jack"}).Draw(t, "aid"); aid != "" {
			p.Aids = []string{aid}
		}
		p.Title = rapid.SampledFrom([]string{"Part ", "Part ", "Coil spring ", "Damper ", "Belt ", "Brake caliper "}).Draw(t, "title") + p.ID
	}
	gaskets(t, a)
	return a, append(fs, systems(t, a)...)
}

// gaskets adds parts that seal a part, half of them without saying so.
func gaskets(t *rapid.T, a *specdata.Assembly) {
	for i := range rapid.IntRange(0, 2).Draw(t, "gaskets") {
		of := rapid.SampledFrom(a.Parts).Draw(t, "sealed").ID
		g := specdata.Part{ID: fmt.Sprintf("g%d", i), Title: fmt.Sprintf("Gasket g%d", i), Behind: []string{of}, Renew: true}
		if rapid.Bool().Draw(t, "says") {
			g.Seals = g.Behind
		}
		a.Parts = append(a.Parts, g)
	}
}

// systems adds a circuit and an electric system to the connections, with plugs.
func systems(t *rapid.T, a *specdata.Assembly) []*specdata.Fastener {
	plug := func(id string) *specdata.Fastener {
		return &specdata.Fastener{
			Head: specdata.Head{Kind: specdata.KindFastener, ID: id, Title: "Plug " + id}, AppliesTo: []specdata.Applies{{Vehicle: "v"}}, Place: "x", Count: 1, Joint: specdata.JointPlug,
			Drive:      &specdata.Drive{Turn: "head", Head: "hex 17 mm"},
			Tightening: &specdata.Tightening{Stages: []specdata.Stage{{Torque: specdata.MustQuantity("30 N.m")}}, State: specdata.StateAny, Drag: "not-applicable", Impact: "never"},
			Reuse:      &specdata.Reuse{Rule: "replace", Renew: []string{"washer"}},
		}
	}
	fs := []*specdata.Fastener{plug("drain-plug"), plug("filler-plug")}
	c := specdata.Circuit{
		ID: "fluid", Title: "Fluid circuit", Fluid: rapid.SampledFrom([]string{"brake-fluid", "coolant", "fuel", "engine-oil", "gear-oil", "refrigerant", "hydraulic-oil", "air"}).Draw(t, "fluid"),
		Pressurised: rapid.Bool().Draw(t, "pressurised"), Bleed: rapid.Bool().Draw(t, "bleed"),
	}
	if rapid.Bool().Draw(t, "capacity") {
		c.Capacity = specdata.MustQuantity("4 L")
	}
	if rapid.Bool().Draw(t, "drain") {
		c.Drain = []specdata.Target{"fastener:drain-plug"}
	}
	if rapid.Bool().Draw(t, "fill") {
		c.Fill = []specdata.Target{"fastener:filler-plug"}
	}
	if c.Fill != nil && rapid.Bool().Draw(t, "level") {
		c.Level = c.Fill
	}
	a.Circuits = []specdata.Circuit{c}
	for i := range a.Connections {
		n := &a.Connections[i]
		n.Electrics = rapid.SampledFrom([]string{"", "battery", "airbag", "high-voltage"}).Draw(t, "electrics")
		if rapid.Bool().Draw(t, "circuit") {
			n.Kind, n.Circuit = "hose", "fluid"
		}
	}
	if rapid.Bool().Draw(t, "minutes") {
		for _, of := range []string{"high-voltage", "airbag", "battery", "engine-oil"} {
			a.Waits = append(a.Waits, specdata.WaitTime{For: of, Least: specdata.MustQuantity("10 min")})
		}
	}
	if rapid.Bool().Draw(t, "owes") {
		a.Owes = []specdata.Owes{{ID: "camera", Title: "Camera calibration", After: []specdata.Target{"part:p0"}}}
	}
	return fs
}

// loose reports whether nothing but one joint holds a part.
func loose(a *specdata.Assembly, part, joint string) bool {
	for _, p := range a.Parts {
		if p.ID == part && len(p.HeldBy) > 0 {
			return false
		}
	}
	for _, c := range a.Connections {
		if slices.Contains(c.Holds, part) {
			return false
		}
	}
	for _, c := range a.Clips {
		if slices.Contains(c.Holds, part) {
			return false
		}
	}
	for _, j := range a.Joints {
		if j.ID != joint && slices.Contains(j.Between, part) {
			return false
		}
	}
	return true
}

// fewest is the oracle: breadth-first search over every set of things away, by
// the definition of what holds what and nothing of the planner's.
func fewest(a *specdata.Assembly, goal string) int {
	type item struct {
		id   string
		free func(away map[string]bool) bool
	}
	all := func(ids []string, away map[string]bool) bool {
		return !slices.ContainsFunc(ids, func(id string) bool { return !away[id] })
	}
	var items []item
	held := map[string]bool{}
	add := func(ids []string) {
		for _, id := range ids {
			held[id] = true
		}
	}
	for _, p := range a.Parts {
		add(p.HeldBy)
		items = append(items, item{p.ID, func(away map[string]bool) bool {
			if !all(p.HeldBy, away) || !all(p.Behind, away) {
				return false
			}
			for _, c := range a.Connections {
				if slices.Contains(c.Holds, p.ID) && !away[c.ID] {
					return false
				}
			}
			for _, c := range a.Clips {
				if slices.Contains(c.Holds, p.ID) && !away[c.ID] {
					return false
				}
			}
			for _, j := range a.Joints {
				if i := slices.Index(j.Between, p.ID); i >= 0 && !away[j.ID] && !away[j.Between[1-i]] && !(j.Kind == "press" && loose(a, j.Between[1-i], j.ID)) {
					return false
				}
			}
			return true
		}})
	}
	for _, j := range a.Joints {
		add(j.HeldBy)
		items = append(items, item{j.ID, func(away map[string]bool) bool { return all(j.HeldBy, away) && all(j.Behind, away) }})
	}
	for _, c := range a.Connections {
		items = append(items, item{c.ID, func(map[string]bool) bool { return true }})
	}
	for _, c := range a.Clips {
		items = append(items, item{c.ID, func(map[string]bool) bool { return true }})
	}
	for id := range held {
		items = append(items, item{id, func(map[string]bool) bool { return true }})
	}
	seen := map[uint]bool{0: true}
	level := []uint{0}
	for n := 0; len(level) > 0; n++ {
		var next []uint
		for _, set := range level {
			away := map[string]bool{}
			for i, it := range items {
				if set>>i&1 == 1 {
					away[it.id] = true
				}
			}
			if away[goal] {
				return n
			}
			for i, it := range items {
				if s := set | 1<<i; s != set && !seen[s] && it.free(away) {
					seen[s] = true
					next = append(next, s)
				}
			}
		}
		level = next
	}
	return -1
}

// The planner misses no admissible order and returns a shortest one; its draft
// passes the dry run; where it finds none there is none.
func TestShortestAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, fs := assembly(t)
		entries := []*library.Entry{{Record: a}, {Record: &specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: "v", Title: "V"}, Options: map[string][]string{"engine": {"a", "b"}}}}}
		for _, f := range fs {
			entries = append(entries, &library.Entry{Record: f})
		}
		lib, err := library.NewMemory(entries...)
		if err != nil {
			t.Fatal(err)
		}
		goal := rapid.SampledFrom(a.Parts).Draw(t, "goal").ID
		want := fewest(a, goal)
		d, err := draft.New(lib, draft.Request{Assembly: "a", Part: goal, Vehicle: "v"})
		if blocked := (*draft.Blocked)(nil); errors.As(err, &blocked) {
			if want >= 0 {
				t.Fatalf("planner says %v; %d acts free it", err, want)
			}
			if len(blocked.Ring) < 2 {
				t.Fatalf("%v names no ring", err)
			}
			return
		} else if err != nil {
			t.Fatal(err)
		}
		if len(d.Order.Acts) != want {
			t.Fatalf("planner needs %d acts %v, the fewest is %d", len(d.Order.Acts), d.Order.Acts, want)
		}
		if !d.Order.Exact {
			t.Fatal("order of a small assembly is not labelled exact")
		}
		for _, p := range d.Problems {
			t.Errorf("draft fails its dry run: %s", p.Message())
		}
		sealed(t, a, d)
		clean(t, lib, d.Procedure)
	})
}

// sealed fails where a part went back on an old gasket.
func sealed(t *rapid.T, a *specdata.Assembly, d *draft.Draft) {
	off, renewed := map[string]bool{}, map[string]bool{}
	for _, s := range d.Procedure.Steps {
		for _, o := range s.Operations {
			typ, id := o.Target.Split()
			switch {
			case typ == "part" && o.Do == specdata.Remove:
				off[id] = true
			case typ == "part" && o.Do == specdata.Fit && o.New:
				renewed[id] = true
			}
		}
	}
	for _, p := range a.Parts {
		if strings.HasPrefix(p.ID, "g") && off[p.Behind[0]] && !renewed[p.ID] {
			t.Errorf("%s came off and its %s is not renewed", p.Behind[0], p.Title)
		}
	}
}

// clean fails for a draft that cannot be written and read back, or that has an error.
func clean(t rapid.TB, lib *library.Memory, p *specdata.Procedure) {
	t.Helper()
	canonical, err := document.Canonical(p)
	if err != nil {
		t.Fatalf("draft cannot be encoded: %v", err)
	}
	doc, err := document.ReadCanonical(canonical)
	if err != nil {
		t.Fatalf("draft cannot be read back: %v", err)
	}
	entries := []*library.Entry{library.NewEntry(doc)}
	for _, k := range specdata.Kinds {
		entries = slices.AppendSeq(entries, lib.All(k))
	}
	with, err := library.NewMemory(entries...)
	if err != nil {
		t.Fatal(err)
	}
	rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: with, Only: []specdata.Name{p.Name()}, Date: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range rep.Findings {
		if f.Severity == specdata.Error {
			t.Errorf("draft has an error at %s: %s [%s]", f.Pointer, f.Message, f.Rule)
		}
	}
}

// Every part of every assembly of the demo drafts cleanly, for all that its assembly
// is for, signed by nobody.
func TestDemo(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	for e := range lib.All(specdata.KindAssembly) {
		a := e.Record.(*specdata.Assembly)
		for _, p := range a.Parts {
			t.Run(a.ID+"/"+p.ID, func(t *testing.T) {
				d, err := draft.New(lib, draft.Request{Assembly: a.ID, Part: p.ID, Vehicle: a.AppliesTo[0].Vehicle})
				if err != nil {
					t.Fatal(err)
				}
				for _, p := range d.Problems {
					t.Errorf("dry run: %s", p.Message())
				}
				if d.Procedure.Source != nil || d.Procedure.Proved != "" {
					t.Errorf("draft is signed: source %+v, proved %q", d.Procedure.Source, d.Procedure.Proved)
				}
				if !reflect.DeepEqual(d.Procedure.AppliesTo, a.AppliesTo) {
					t.Errorf("draft applies to %+v, its assembly to %+v", d.Procedure.AppliesTo, a.AppliesTo)
				}
				if want := a.ID + "-" + p.ID; d.Procedure.ID != want {
					t.Errorf("draft is called %s, want %s", d.Procedure.ID, want)
				}
				clean(t, lib, d.Procedure)
			})
		}
	}
}

// What a draft reads like; look at the file when it changes.
func TestSentences(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, job := range [][3]string{{"quill-1-rear-hub-disc", "hub", "quill-1"}, {"pell-1-cylinder-head", "head-gasket", "pell-1"}, {"tamber-2-front-corner", "arm", "tamber-2"}, {"skerry-1-rear-drum-brake", "wheel-cylinder", "skerry-1"}, {"skerry-1-rear-damper", "damper", "skerry-1"}, {"brindle-3-rear-axle-cover", "cover", "brindle-3"}, {"lumen-4-charger", "charger-cover", "lumen-4"}, {"wain-7-rear-brake-chamber", "chamber", "wain-7"}, {"pell-1-coolant-pump", "pump", "pell-1"}} {
		d, err := draft.New(lib, draft.Request{Assembly: job[0], Part: job[1], Vehicle: job[2]})
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s\n", d.Procedure.Title)
		for _, s := range d.Procedure.Steps {
			for _, c := range s.Cautions {
				fmt.Fprintf(&b, "    %s: %s\n", c.Signal, c.Text)
			}
			fmt.Fprintf(&b, "  %s\n", s.Text)
		}
	}
	file := filepath.Join("testdata", "sentences.golden")
	if *update {
		if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("sentences changed; look at them and run go test ./specdata/draft -update\n%s", b.String())
	}
}

var update = flag.Bool("update", false, "write the golden file")

// chain returns an assembly of n parts one behind the other, with joints between
// neighbours: what a planner that tries both sides of every joint doubles at each.
func chain(n, joints int) *specdata.Assembly {
	a := &specdata.Assembly{Head: specdata.Head{Kind: specdata.KindAssembly, ID: "a", Title: "A"}, AppliesTo: []specdata.Applies{{Vehicle: "v"}}, Place: "x"}
	for i := range n {
		p := specdata.Part{ID: fmt.Sprintf("p%d", i), Title: fmt.Sprintf("Part %d", i)}
		if i > 0 {
			p.Behind = []string{fmt.Sprintf("p%d", i-1)}
		}
		a.Parts = append(a.Parts, p)
	}
	for i := range joints {
		a.Joints = append(a.Joints, specdata.Joint{ID: fmt.Sprintf("j%d", i), Title: fmt.Sprintf("Joint %d", i), Kind: "taper", Between: []string{fmt.Sprintf("p%d", i), fmt.Sprintf("p%d", n-1-i)}})
	}
	return a
}

// A joint that is no press fit has no choice, so any number of them is exact.
func TestManyJointsAreExact(t *testing.T) {
	d, err := draft.New(vehicleWith(t, chain(200, 60)), draft.Request{Assembly: "a", Part: "p199", Vehicle: "v"})
	if err != nil {
		t.Fatal(err)
	}
	if !d.Order.Exact || len(d.Order.Acts) != 260 {
		t.Errorf("%d acts, exact %v; want 260 acts, exact", len(d.Order.Acts), d.Order.Exact)
	}
}

func vehicleWith(t testing.TB, a *specdata.Assembly) *library.Memory {
	lib, err := library.NewMemory(&library.Entry{Record: a}, &library.Entry{Record: &specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: "v", Title: "V"}}})
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

func BenchmarkThousandParts(b *testing.B) {
	lib := vehicleWith(b, chain(1000, 60))
	for b.Loop() {
		if _, err := draft.New(lib, draft.Request{Assembly: "a", Part: "p999", Vehicle: "v"}); err != nil {
			b.Fatal(err)
		}
	}
}

// A fastener that is for some options only stands in steps for them; what a step cannot
// say, and what the library lacks, is missing by name.
func TestNarrowerFasteners(t *testing.T) {
	bolt := func(id string, as ...specdata.Applies) *library.Entry {
		return &library.Entry{Record: &specdata.Fastener{
			Head: specdata.Head{Kind: specdata.KindFastener, ID: id, Title: "Cover bolt"}, AppliesTo: as, Place: "x", Count: 4, Joint: specdata.JointClamp,
			Drive:      &specdata.Drive{Turn: "head", Head: "hex 13 mm"},
			Tightening: &specdata.Tightening{Stages: []specdata.Stage{{Torque: specdata.MustQuantity("25 N.m")}}, State: specdata.StateAny, Drag: "not-applicable", Impact: "allowed"},
			Reuse:      &specdata.Reuse{Rule: "replace"},
		}}
	}
	only := func(engines ...string) specdata.Applies {
		return specdata.Applies{Vehicle: "v", Where: map[string][]string{"engine": engines}}
	}
	late := only("c")
	late.Built = &specdata.Built{From: "2019-W01"}
	a := &specdata.Assembly{
		Head: specdata.Head{Kind: specdata.KindAssembly, ID: "a", Title: "A"}, AppliesTo: []specdata.Applies{{Vehicle: "v"}}, Place: "x",
		Parts: []specdata.Part{{ID: "cover", Title: "Cover", HeldBy: []string{"both", "one", "two", "late", "nowhere"}}},
	}
	lib, err := library.NewMemory(
		&library.Entry{Record: a}, &library.Entry{Record: &specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: "v", Title: "V"}, Options: map[string][]string{"engine": {"a", "b", "c"}}}},
		bolt("both", only("a", "b"), only("c")), bolt("one", only("a")), bolt("two", only("b"), only("c")), bolt("late", late),
	)
	if err != nil {
		t.Fatal(err)
	}
	d, err := draft.New(lib, draft.Request{Assembly: "a", Part: "cover", Vehicle: "v"})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, s := range d.Procedure.Steps {
		for _, o := range s.Operations {
			if o.Do == specdata.Tighten {
				got[string(o.Target)] = fmt.Sprint(s.Where)
			}
		}
	}
	want := map[string]string{"fastener:both": "map[]", "fastener:one": "map[engine:[a]]", "fastener:two": "map[engine:[b c]]", "fastener:late": "map[engine:[c]]"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("steps are for %v, want %v", got, want)
	}
	missing := strings.Join(d.Missing, "\n")
	if len(d.Missing) != 2 || !strings.Contains(missing, "late") || !strings.Contains(missing, "fastener nowhere") {
		t.Errorf("missing:\n%s\nwant the build range of late and the fastener nowhere", missing)
	}
	for _, p := range d.Problems {
		t.Errorf("dry run: %s", p.Message())
	}
}
