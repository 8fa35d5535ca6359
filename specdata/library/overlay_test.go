package library

import (
	"fmt"
	"iter"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

// An overlay on a library without some records answers every question as a library
// that was built with the entries in place and without those records would.
func TestOverlayIsTheLibraryAsItWouldBecome(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entry := func(label string) *Entry {
			f := &specdata.Fastener{Head: specdata.Head{Kind: specdata.KindFastener, ID: fmt.Sprintf("f-%d", rapid.IntRange(0, 29).Draw(t, label+" id"))}}
			f.AppliesTo = []specdata.Applies{{Vehicle: rapid.SampledFrom([]string{"v-1", "v-2"}).Draw(t, label+" vehicle")}}
			f.Thread = &specdata.Thread{Designation: rapid.SampledFrom([]string{"M8", "M10"}).Draw(t, label+" thread")}
			f.Joint = specdata.JointClamp
			return &Entry{Record: f}
		}
		byName := map[specdata.Name]*Entry{}
		for range rapid.IntRange(0, 40).Draw(t, "base") {
			e := entry("base")
			byName[e.Name()] = e
		}
		base := memory(t, byName)
		asked := &counted{Memory: base}
		var gone []specdata.Name
		for range rapid.IntRange(0, 20).Draw(t, "gone") {
			n := entry("gone").Name()
			gone = append(gone, n)
			delete(byName, n)
		}
		var over []*Entry
		for range rapid.IntRange(0, 20).Draw(t, "over") {
			e := entry("over")
			over = append(over, e)
			byName[e.Name()] = e
		}
		want, got := memory(t, byName), Overlay(Without(Remember(asked), gone...), over...)
		asked.most = 0
		same := func(what string, a, b iter.Seq[*Entry]) {
			if x, y := slices.Collect(a), slices.Collect(b); !slices.Equal(x, y) {
				t.Fatalf("%s: got %d entries, want %d", what, len(x), len(y))
			}
		}
		same("all", got.All(specdata.KindFastener), want.All(specdata.KindFastener))
		for _, v := range []string{"v-1", "v-2", "v-1"} {
			same(v, got.ForVehicle(specdata.KindFastener, v), want.ForVehicle(specdata.KindFastener, v))
			n := specdata.NewName(specdata.KindVehicle, v)
			if x, y := got.Uses(n), want.Uses(n); !slices.Equal(x, y) {
				t.Fatalf("uses of %s: got %v, want %v", v, x, y)
			}
		}
		for i := range 30 {
			id := fmt.Sprintf("f-%d", i)
			n := specdata.NewName(specdata.KindFastener, id)
			if got.Get(n) != want.Get(n) {
				t.Fatalf("get %s differs", n)
			}
			like := Likeness{"M8", specdata.JointClamp}
			for range 2 { // what is remembered is what was learnt
				if x, y := got.(ByLikeness).Alike(like, id, 2), want.Alike(like, id, 2); !slices.Equal(x, y) {
					t.Fatalf("alike %s: got %d, want %d", id, len(x), len(y))
				}
			}
		}
		// A store answers a question for so many only, however much lies over it.
		if asked.most > 2 {
			t.Fatalf("asked the base for %d neighbours to find 2", asked.most)
		}
	})
}

// counted keeps the most neighbours that were asked for at once.
type counted struct {
	*Memory
	most int
}

func (c *counted) Alike(like Likeness, id string, n int) []*Entry {
	c.most = max(c.most, n)
	return c.Memory.Alike(like, id, n)
}

func memory(t *rapid.T, byName map[specdata.Name]*Entry) *Memory {
	var es []*Entry
	for _, e := range byName {
		es = append(es, e)
	}
	m, err := NewMemory(es...)
	if err != nil {
		t.Fatal(err)
	}
	return m
}
