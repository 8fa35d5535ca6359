package lint

import (
	"iter"
	"maps"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Affected lists the records whose findings a change of some records may alter,
// in order of kind and id: the changed records that the library has, everything
// that refers to them directly or through others, what they refer to, and the
// records they are compared with: those of the same vehicles, the neighbours of
// fasteners, those of their kind that rest on the same source, those that rest on
// a source they supersede, and vehicles and sources of the same name.
//
// It answers for one library. A removed record, or one that changed its vehicle or
// source, had other neighbours before; ask the library before the change as well.
func Affected(lib library.Library, changed []specdata.Name) []specdata.Name {
	set := map[specdata.Name]bool{}
	users(lib, changed, set)
	for _, n := range changed {
		e := lib.Get(n)
		if e == nil {
			continue
		}
		for _, ref := range specdata.Referred(e.Record) {
			set[ref] = true
		}
		for _, a := range specdata.AppliesOf(e.Record) {
			for _, k := range specdata.Kinds {
				for neighbour := range lib.ForVehicle(k, a.Vehicle) {
					set[neighbour.Name()] = true
				}
			}
		}
		if f, ok := e.Record.(*specdata.Fastener); ok {
			for _, neighbour := range library.Neighbours(lib, f) {
				set[neighbour.Name()] = true
			}
		}
		for name := range sameWords(lib, e.Record) {
			set[name] = true
		}
		if s, ok := e.Record.(*specdata.Source); ok {
			for _, id := range s.Supersedes {
				for _, user := range lib.Uses(specdata.NewName(specdata.KindSource, id)) {
					set[user] = true
				}
			}
		}
		if c := specdata.CitationOf(e.Record); c != nil {
			for _, user := range lib.Uses(specdata.NewName(specdata.KindSource, c.Document)) {
				if user.Kind() == n.Kind() {
					set[user] = true
				}
			}
		}
	}
	maps.DeleteFunc(set, func(n specdata.Name, _ bool) bool { return lib.Get(n) == nil })
	return slices.SortedFunc(maps.Keys(set), compareNames)
}

// AffectedBy lists what a change of some records may alter, seen from the library
// after it and from the library before it: the records to judge again in now. It is
// never nil, which would mean all of them.
func AffectedBy(now, old library.Library, changed []specdata.Name) []specdata.Name {
	names := append([]specdata.Name{}, Affected(now, changed)...)
	names = append(names, Affected(old, changed)...)
	names = slices.DeleteFunc(names, func(n specdata.Name) bool { return now.Get(n) == nil })
	slices.SortFunc(names, compareNames)
	return slices.Compact(names)
}

// sameWords returns the records that may describe the same vehicle or source as a
// record; fasteners have theirs on their vehicles.
func sameWords(lib library.Library, r specdata.Record) iter.Seq[specdata.Name] {
	return func(yield func(specdata.Name) bool) {
		for e := range lib.All(r.Header().Kind) {
			same := false
			switch r := r.(type) {
			case *specdata.Vehicle:
				o, ok := e.Record.(*specdata.Vehicle)
				same = ok && specdata.SameWords(o.Model, r.Model)
			case *specdata.Source:
				same = specdata.SameWords(e.Record.Header().Title, r.Title)
			default:
				return
			}
			if same && !yield(e.Name()) {
				return
			}
		}
	}
}

// users adds the names and whatever refers to them, directly or through others.
func users(lib library.Library, names []specdata.Name, set map[specdata.Name]bool) {
	queue := slices.Clone(names)
	for len(queue) > 0 {
		n := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		if set[n] {
			continue
		}
		set[n] = true
		queue = append(queue, lib.Uses(n)...)
	}
}
