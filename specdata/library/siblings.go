package library

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// NearSiblings is how many siblings to either side, in order of id, are compared.
// Ids begin with the vehicle, so the nearest are those of the same vehicle and
// its neighbours, and the cost does not grow with the library.
const NearSiblings = 8

// Likeness is what fasteners share that do the same kind of work in the same thread.
type Likeness struct {
	// Thread is the designation as written, Joint the joint kind.
	Thread string
	Joint  specdata.JointKind
}

// LikenessOf gives a fastener's likeness; ok is false for one without a thread.
func LikenessOf(f *specdata.Fastener) (like Likeness, ok bool) {
	if f.Thread == nil || f.Thread.Designation == "" {
		return Likeness{}, false
	}
	return Likeness{f.Thread.Designation, f.Joint}, true
}

// Kin is a library that finds fasteners by their likeness without reading them
// all. Siblings gives the same answer from any other library, slower.
type Kin interface {
	// Alike gives the entries of a likeness nearest to an id in order of id: at
	// most n below it, then at most n above it, never the one of that id.
	Alike(like Likeness, id string, n int) []*Entry
}

// Siblings gives the fasteners with a fastener's thread and joint kind that are
// nearest to it in order of id, at most NearSiblings to either side.
func Siblings(l Library, f *specdata.Fastener) []*Entry {
	like, ok := LikenessOf(f)
	if !ok {
		return nil
	}
	return Alike(l, like, f.ID, NearSiblings)
}

// Alike returns the fasteners of a likeness that are nearest to an id in order of
// id, at most n to either side, from a library of any sort.
func Alike(l Library, like Likeness, id string, n int) []*Entry {
	if k, ok := l.(Kin); ok {
		return k.Alike(like, id, n)
	}
	var all []*Entry
	for e := range l.All(specdata.KindFastener) {
		if o, ok := LikenessOf(e.Record.(*specdata.Fastener)); ok && o == like {
			all = append(all, e)
		}
	}
	return around(all, id, n)
}

// around cuts the nearest entries to either side of an id out of a list in order of id.
func around(es []*Entry, id string, n int) []*Entry {
	i, found := slices.BinarySearchFunc(es, id, func(e *Entry, id string) int { return strings.Compare(e.Record.Header().ID, id) })
	below, above := es[max(0, i-n):i], es[i:]
	if found {
		above = above[1:]
	}
	return slices.Concat(below, above[:min(n, len(above))])
}
