package library

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// NeighboursEachSide is how many neighbours to either side, in order of id, are compared.
// Ids begin with the vehicle, so the nearest are those of the same vehicle and
// its neighbours, and the cost does not grow with the library.
const NeighboursEachSide = 8

// Likeness is what fasteners share that do the same kind of work in the same thread.
type Likeness struct {
	// Thread is the designation as written, Joint the joint kind.
	Thread string
	Joint  specdata.JointKind
}

// LikenessOf returns a fastener's likeness; ok is false for one without a thread.
func LikenessOf(f *specdata.Fastener) (like Likeness, ok bool) {
	if f.Thread == nil || f.Thread.Designation == "" {
		return Likeness{}, false
	}
	return Likeness{f.Thread.Designation, f.Joint}, true
}

// ByLikeness is a library that finds fasteners by their likeness without reading them
// all. Neighbours gives the same answer from any other library, slower.
type ByLikeness interface {
	// Alike returns the entries of a likeness nearest to an id in order of id: at
	// most n below it, then at most n above it, never the one of that id.
	Alike(like Likeness, id string, n int) []*Entry
}

// Neighbours returns the fasteners with a fastener's thread and joint kind that are
// nearest to it in order of id, at most NeighboursEachSide to either side.
func Neighbours(l Library, f *specdata.Fastener) []*Entry {
	like, ok := LikenessOf(f)
	if !ok {
		return nil
	}
	return Alike(l, like, f.ID, NeighboursEachSide)
}

// Alike returns the fasteners of a likeness that are nearest to an id in order of
// id, at most n to either side, from a library of any sort.
func Alike(l Library, like Likeness, id string, n int) []*Entry {
	if k, ok := l.(ByLikeness); ok {
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
	below, above := beyond(es, id, false), beyond(es, id, true)
	return slices.Concat(below[max(0, len(below)-n):], above[:min(n, len(above))])
}

// nearest returns the entries of a likeness nearest to an id, as ByLikeness.Alike does, from
// what a base library shows and from others in order of id that join it. It asks the
// base for n at a time and goes on only where what is hidden leaves less than n.
func nearest(base Library, hidden func(*Entry) bool, others []*Entry, like Likeness, id string, n int) []*Entry {
	others = around(others, id, n)
	all := slices.Clone(others)
	first := Alike(base, like, id, n)
	for _, up := range []bool{false, true} {
		got := 0
		for share := beyond(first, id, up); len(share) > 0; {
			for _, e := range share {
				if !hidden(e) {
					all = append(all, e)
					got++
				}
			}
			if len(share) < n {
				break // the base has no more
			}
			last := share[0].Record.Header().ID
			if up {
				last = share[len(share)-1].Record.Header().ID
			}
			// Others that lie farther out than the base was read may be displaced by what it has there.
			if got+len(beyond(others, id, up))-len(beyond(others, last, up)) >= n {
				break
			}
			share = beyond(Alike(base, like, last, n), last, up)
		}
	}
	slices.SortFunc(all, byID)
	return around(all, id, n)
}

// beyond cuts the entries below or above an id out of a list in order of id.
func beyond(es []*Entry, id string, up bool) []*Entry {
	i, found := slices.BinarySearchFunc(es, id, func(e *Entry, id string) int { return strings.Compare(e.Record.Header().ID, id) })
	switch {
	case !up:
		return es[:i]
	case found:
		return es[i+1:]
	}
	return es[i:]
}
