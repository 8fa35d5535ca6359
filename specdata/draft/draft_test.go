package draft_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
	"proofload/specdata/draft"
	"proofload/specdata/library"
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
			Tightening: &specdata.Tightening{Stages: []specdata.Stage{{Torque: specdata.MustQuantity("25 N.m")}}, State: specdata.StateAny, Drag: "not-applicable", Impact: "allowed"},
			Reuse:      &specdata.Reuse{Rule: rapid.SampledFrom([]string{"reuse", "replace"}).Draw(t, "reuse")},
		})
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
			a.Joints = append(a.Joints, specdata.Joint{ID: fmt.Sprintf("j%d", i), Title: fmt.Sprintf("Joint j%d", i), Kind: rapid.SampledFrom([]string{"taper", "slide", "ball"}).Draw(t, "kind"), Between: pair, HeldBy: some(fids, "jheld")})
		}
	}
	for i := range rapid.IntRange(0, 1).Draw(t, "connections") {
		a.Connections = append(a.Connections, specdata.Connection{ID: fmt.Sprintf("c%d", i), Title: fmt.Sprintf("Plug c%d", i), Kind: "plug", Holds: some(ids, "cholds")})
	}
	for i := range rapid.IntRange(0, 1).Draw(t, "clips") {
		a.Clips = append(a.Clips, specdata.Clip{ID: fmt.Sprintf("k%d", i), Title: fmt.Sprintf("Clip k%d", i), Holds: some(ids, "kholds")})
	}
	return a, fs
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
				if i := slices.Index(j.Between, p.ID); i >= 0 && !away[j.ID] && !away[j.Between[1-i]] {
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

// The planner misses no admissible order and gives a shortest one; its draft
// passes the dry run; where it finds none there is none.
func TestShortestAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, fs := assembly(t)
		entries := []*library.Entry{{Record: a}, {Record: &specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: "v", Title: "V"}}}}
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
	})
}
