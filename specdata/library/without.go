package library

import (
	"iter"
	"slices"

	"proofload/specdata"
)

// Without is a library as it would become with some records withdrawn. Names that
// the base does not have are ignored.
func Without(base Library, names ...specdata.Name) Library {
	w := &without{base: base, gone: make(map[specdata.Name]bool, len(names))}
	for _, n := range names {
		w.gone[n] = true
	}
	return w
}

type without struct {
	base Library
	gone map[specdata.Name]bool
}

// Get implements Library.
func (w *without) Get(name specdata.Name) *Entry {
	if w.gone[name] {
		return nil
	}
	return w.base.Get(name)
}

// All implements Library.
func (w *without) All(kind specdata.Kind) iter.Seq[*Entry] { return w.left(w.base.All(kind)) }

// ForVehicle implements Library.
func (w *without) ForVehicle(kind specdata.Kind, vehicle string) iter.Seq[*Entry] {
	return w.left(w.base.ForVehicle(kind, vehicle))
}

func (w *without) left(entries iter.Seq[*Entry]) iter.Seq[*Entry] {
	return func(yield func(*Entry) bool) {
		for e := range entries {
			if !w.gone[e.Name()] && !yield(e) {
				return
			}
		}
	}
}

// Uses implements Library.
func (w *without) Uses(name specdata.Name) []specdata.Name {
	return slices.DeleteFunc(slices.Clone(w.base.Uses(name)), func(n specdata.Name) bool { return w.gone[n] })
}

// Alike implements ByLikeness.
func (w *without) Alike(like Likeness, id string, n int) []*Entry {
	return nearest(w.base, func(e *Entry) bool { return w.gone[e.Name()] }, nil, like, id, n)
}

// Err implements Library.
func (w *without) Err() error { return w.base.Err() }
