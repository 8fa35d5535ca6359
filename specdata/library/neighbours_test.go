package library

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

// plain hides that a library can name neighbours by itself.
type plain struct{ Library }

func bolt(id, thread string, joint specdata.JointKind) *specdata.Fastener {
	f := &specdata.Fastener{Head: specdata.Head{Kind: specdata.KindFastener, ID: id}, Joint: joint}
	if thread != "" {
		f.Thread = &specdata.Thread{Designation: thread}
	}
	return f
}

func ids(es []*Entry) []string {
	var out []string
	for _, e := range es {
		out = append(out, e.Record.Header().ID)
	}
	return out
}

// TestSiblingsOfAnyLibrary: an index and a scan give the same neighbours, which are
// alike, nearest in order of id, and never the fastener itself.
func TestSiblingsOfAnyLibrary(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var entries []*Entry
		n := rapid.IntRange(1, 80).Draw(rt, "n")
		for i := range n {
			thread := rapid.SampledFrom([]string{"M8x1.25", "M10x1.5", ""}).Draw(rt, "thread")
			kind := rapid.SampledFrom([]specdata.JointKind{specdata.JointClamp, specdata.JointPlug}).Draw(rt, "joint")
			entries = append(entries, &Entry{Record: bolt(fmt.Sprintf("b-%03d", i), thread, kind)})
		}
		m, err := NewMemory(rapid.Permutation(entries).Draw(rt, "order")...)
		if err != nil {
			rt.Fatal(err)
		}
		f := entries[rapid.IntRange(0, n-1).Draw(rt, "of")].Record.(*specdata.Fastener)
		indexed, scanned := ids(Neighbours(m, f)), ids(Neighbours(plain{m}, f))
		if !slices.Equal(indexed, scanned) {
			rt.Fatalf("neighbours of %s: index %v, scan %v", f.ID, indexed, scanned)
		}
		// An overlay that puts some entries over others answers like a library of all.
		cut := rapid.IntRange(0, n).Draw(rt, "cut")
		var old []*Entry
		for i, e := range entries {
			if i >= cut || rapid.Bool().Draw(rt, "replaced") {
				was := *e
				if i < cut {
					was.Record = bolt(e.Record.Header().ID, rapid.SampledFrom([]string{"M8x1.25", "M10x1.5", ""}).Draw(rt, "was"), specdata.JointClamp)
				}
				old = append(old, &was)
			}
		}
		base, err := NewMemory(old...)
		if err != nil {
			rt.Fatal(err)
		}
		if over := ids(Neighbours(Overlay(base, entries[:cut]...), f)); !slices.Equal(indexed, over) {
			rt.Fatalf("neighbours of %s: whole %v, overlay %v", f.ID, indexed, over)
		}
		var below, above []string
		for _, e := range entries {
			o := e.Record.(*specdata.Fastener)
			if f.Thread == nil || o.Thread == nil || o.Thread.Designation != f.Thread.Designation || o.Joint != f.Joint || o.ID == f.ID {
				continue
			}
			if o.ID < f.ID {
				below = append(below, o.ID)
			} else {
				above = append(above, o.ID)
			}
		}
		want := slices.Concat(below[max(0, len(below)-NeighboursEachSide):], above[:min(NeighboursEachSide, len(above))])
		if !slices.Equal(indexed, want) {
			rt.Fatalf("neighbours of %s are %v; want %v", f.ID, indexed, want)
		}
	})
}
