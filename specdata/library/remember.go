package library

import (
	"iter"
	"slices"
	"sync"

	"proofload/specdata"
)

// Remember asks a library each question about a vehicle, a use or a likeness once.
// Rules ask them again for every record they judge, and a library that fetches on
// demand would fetch as often. What it remembers lives as long as it does: it is for
// one run over part of a library, not for a library that is kept.
func Remember(base Library) Library {
	return &remembered{
		Library: base, vehicles: map[vehicleKey][]*Entry{}, uses: map[specdata.Name][]specdata.Name{}, alike: map[alikeKey][]*Entry{},
	}
}

type remembered struct {
	Library

	mu       sync.Mutex
	vehicles map[vehicleKey][]*Entry
	uses     map[specdata.Name][]specdata.Name
	alike    map[alikeKey][]*Entry
}

type alikeKey struct {
	like Likeness
	id   string
	n    int
}

// ForVehicle implements Library.
func (r *remembered) ForVehicle(kind specdata.Kind, vehicle string) iter.Seq[*Entry] {
	return slices.Values(recall(r, r.vehicles, vehicleKey{kind, vehicle}, func() []*Entry {
		return slices.Collect(r.Library.ForVehicle(kind, vehicle))
	}))
}

// Uses implements Library.
func (r *remembered) Uses(name specdata.Name) []specdata.Name {
	return recall(r, r.uses, name, func() []specdata.Name { return r.Library.Uses(name) })
}

// Alike implements ByLikeness.
func (r *remembered) Alike(like Likeness, id string, n int) []*Entry {
	return recall(r, r.alike, alikeKey{like, id, n}, func() []*Entry { return Alike(r.Library, like, id, n) })
}

// recall asks without the lock held: two that ask at once learn the same.
func recall[K comparable, V any](r *remembered, known map[K][]V, key K, ask func() []V) []V {
	r.mu.Lock()
	v, ok := known[key]
	r.mu.Unlock()
	if ok {
		return v
	}
	v = ask()
	r.mu.Lock()
	defer r.mu.Unlock()
	known[key] = v
	return v
}
