package library

import (
	"slices"

	"proofload/specdata"
)

// Duplicates returns the other fasteners that read as the same joint as f: on a
// vehicle they share, at the same place and under the same title, word for word by
// the measure of specdata.SameWords. ignore lists words of the title that do not
// count. Each is returned once, in order of f's clauses, then of id.
func Duplicates(l Library, f *specdata.Fastener, ignore ...string) []*Entry {
	var found []*Entry
	for i := range f.AppliesTo {
		vehicle := f.AppliesTo[i].Vehicle
		if namesVehicle(f.AppliesTo[:i], vehicle) {
			continue
		}
		for e := range l.ForVehicle(specdata.KindFastener, vehicle) {
			o, ok := e.Record.(*specdata.Fastener)
			if ok && samePlace(o.Place, f.Place) && o.ID != f.ID && specdata.SameWords(o.Title, f.Title, ignore...) && !slices.Contains(found, e) {
				found = append(found, e)
			}
		}
	}
	return found
}

// samePlace compares places without regard to case and hyphens. It runs over every
// fastener of a vehicle for every fastener, so it stops at the first letter that differs.
func samePlace(a, b string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range len(a) {
		if a[i] != b[i] && fold(a[i]) != fold(b[i]) {
			return false
		}
	}
	return true
}

func fold(c byte) byte {
	switch {
	case 'A' <= c && c <= 'Z':
		return c + 'a' - 'A'
	case c == '-':
		return ' '
	}
	return c
}

func namesVehicle(as []specdata.Applies, vehicle string) bool {
	for i := range as {
		if as[i].Vehicle == vehicle {
			return true
		}
	}
	return false
}
