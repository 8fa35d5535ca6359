package library

import (
	"iter"
	"maps"
	"slices"

	"proofload/specdata"
)

// Overlay is a library as it would become: the entries stand in place of the
// base's entries of the same name, or join them. Of two entries with one name the
// later counts.
func Overlay(base Library, entries ...*Entry) Library {
	latest := map[specdata.Name]*Entry{}
	for _, e := range entries {
		latest[e.Name()] = e
	}
	o := &overlay{base: base}
	o.over, _ = NewMemory(slices.Collect(maps.Values(latest))...) // fails on a name that stands twice, and none does
	return o
}

type overlay struct {
	base Library
	over *Memory
}

// Get implements Library.
func (o *overlay) Get(name specdata.Name) *Entry {
	if e := o.over.Get(name); e != nil {
		return e
	}
	return o.base.Get(name)
}

// All implements Library.
func (o *overlay) All(kind specdata.Kind) iter.Seq[*Entry] {
	return o.merge(o.base.All(kind), o.over.All(kind))
}

// ForVehicle implements Library.
func (o *overlay) ForVehicle(kind specdata.Kind, vehicle string) iter.Seq[*Entry] {
	return o.merge(o.base.ForVehicle(kind, vehicle), o.over.ForVehicle(kind, vehicle))
}

// merge returns two sequences in order of id as one, without what the overlay replaces.
func (o *overlay) merge(base, over iter.Seq[*Entry]) iter.Seq[*Entry] {
	return func(yield func(*Entry) bool) {
		next, stop := iter.Pull(over)
		defer stop()
		put, ok := next()
		for e := range base {
			if o.replaced(e) {
				continue
			}
			for ; ok && byID(put, e) < 0; put, ok = next() {
				if !yield(put) {
					return
				}
			}
			if !yield(e) {
				return
			}
		}
		for ; ok; put, ok = next() {
			if !yield(put) {
				return
			}
		}
	}
}

func (o *overlay) replaced(e *Entry) bool { return o.over.Get(e.Name()) != nil }

// Uses implements Library.
func (o *overlay) Uses(name specdata.Name) []specdata.Name {
	var names []specdata.Name
	for _, n := range o.base.Uses(name) {
		if o.over.Get(n) == nil {
			names = append(names, n)
		}
	}
	names = append(names, o.over.Uses(name)...)
	slices.Sort(names)
	return names
}

// Alike implements ByLikeness.
func (o *overlay) Alike(like Likeness, id string, n int) []*Entry {
	return nearest(o.base, o.replaced, o.over.alike[like], like, id, n)
}

// Err implements Library.
func (o *overlay) Err() error { return o.base.Err() }
