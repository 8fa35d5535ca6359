package specdata

import (
	"iter"
	"maps"
	"slices"
	"strings"
)

// String returns the clause in words ("tansy-2, rear_brake disc, up to 2019-W26, left").
func (a Applies) String() string {
	var b strings.Builder
	b.WriteString(a.Vehicle)
	if len(a.Where) > 0 {
		b.WriteString(", " + a.Options())
	}
	if !a.Built.Whole() {
		b.WriteString(", " + a.Built.String())
	}
	if a.Side != "" && a.Side != SideEach {
		b.WriteString(", " + string(a.Side))
	}
	return b.String()
}

// Options returns the option conditions in words ("engine p12 or d15, rear_brake disc").
func (a Applies) Options() string {
	var b strings.Builder
	for _, key := range slices.Sorted(maps.Keys(a.Where)) {
		if b.Len() > 0 {
			b.WriteString(", ")
		}
		b.WriteString(key + " " + strings.Join(a.Where[key], " or "))
	}
	return b.String()
}

// And returns what two overlapping clauses have in common. What it returns for clauses
// that do not overlap means nothing.
func (a Applies) And(b Applies) Applies {
	both := Applies{Vehicle: a.Vehicle, Side: a.Side}
	if both.Side == "" || both.Side == SideEach {
		both.Side = b.Side
	}
	if built, ok := a.Built.Meet(b.Built); ok {
		both.Built = built
	}
	if len(a.Where)+len(b.Where) > 0 {
		both.Where = map[string][]string{}
	}
	maps.Copy(both.Where, b.Where)
	for key, values := range a.Where {
		if other, ok := b.Where[key]; ok {
			values = slices.DeleteFunc(slices.Clone(values), func(v string) bool { return !slices.Contains(other, v) })
		}
		both.Where[key] = values
	}
	return both
}

// Meets reports whether one of some clauses shares a vehicle, options and builds
// with a clause, whatever the sides.
func Meets(as []Applies, c Applies) bool {
	for _, a := range as {
		a.Side = c.Side
		if a.Overlap(c) {
			return true
		}
	}
	return false
}

// Restrict narrows the clause to some option values; ok is false where that leaves
// nothing.
func (a Applies) Restrict(where map[string][]string) (narrow Applies, ok bool) {
	if len(where) == 0 {
		return a, true
	}
	step := Applies{Vehicle: a.Vehicle, Where: where, Side: a.Side}
	if !a.Overlap(step) {
		return Applies{}, false
	}
	narrow = a.And(step)
	return narrow, true
}

// coverCells bounds the option combinations Uncovered looks at; five keys of four
// values stay under it.
const coverCells = 4096

// Uncovered returns a part of clause a, on vehicle v, that none of the other clauses
// covers; ok is false when all of it is covered, or when that cannot be told: v is
// nil, ranges that cannot be compared, or more combinations of options than it
// looks at. Options are counted off the vehicle's vocabulary. Sides are not looked at.
func (a Applies) Uncovered(by []Applies, v *Vehicle) (rest Applies, ok bool) {
	if v == nil {
		return Applies{}, false
	}
	for i := range by {
		if a.within(&by[i], v) {
			return Applies{}, false
		}
	}
	asked := a.builtOn(v)
	for cell := range cells(v, splitBy(by, a.Vehicle), a.Where) {
		holes, ok := Holes(asked, rangesOf(by, a.Vehicle, cell))
		if !ok || len(holes) == 0 {
			continue
		}
		rest = Applies{Vehicle: a.Vehicle, Where: map[string][]string{}, Built: holes[0]}
		maps.Copy(rest.Where, a.Where)
		for k, value := range cell {
			rest.Where[k] = []string{value}
		}
		return rest, true
	}
	return Applies{}, false
}

// within reports, without allocating, whether one clause covers a by itself.
func (a *Applies) within(b *Applies, v *Vehicle) bool {
	if a.Vehicle != b.Vehicle {
		return false
	}
	for key, allowed := range b.Where {
		values := a.Where[key]
		if len(values) == 0 {
			values = v.Options[key]
		}
		if len(values) == 0 {
			return false
		}
		for _, value := range values {
			if !slices.Contains(allowed, value) {
				return false
			}
		}
	}
	return b.Built.Whole() || a.Built.Within(b.Built) || a.Built.Whole() && v.Built.Within(b.Built)
}

// builtOn narrows the clause's range to what the vehicle was built in, where the
// two can be compared.
func (a *Applies) builtOn(v *Vehicle) *Built {
	if both, ok := a.Built.Meet(v.Built); ok {
		return both
	}
	return a.Built
}

// splitBy lists, sorted, the option keys that the clauses of a vehicle ask for.
func splitBy(clauses []Applies, vehicle string) []string {
	var keys []string
	for _, c := range clauses {
		if c.Vehicle != vehicle {
			continue
		}
		for key := range c.Where {
			if !slices.Contains(keys, key) {
				keys = append(keys, key)
			}
		}
	}
	slices.Sort(keys)
	return keys
}

// cells returns every combination of values of some option keys, at most coverCells:
// the values that within allows, where it names the key, else all the vehicle has.
// The map is the same one each time.
func cells(v *Vehicle, keys []string, within map[string][]string) iter.Seq[map[string]string] {
	return func(yield func(map[string]string) bool) {
		cell, left := make(map[string]string, len(keys)), coverCells
		var walk func(keys []string) bool
		walk = func(keys []string) bool {
			if len(keys) == 0 {
				left--
				return yield(cell) && left > 0
			}
			values := within[keys[0]]
			if len(values) == 0 {
				values = v.Options[keys[0]]
			}
			for _, value := range values {
				cell[keys[0]] = value
				if !walk(keys[1:]) {
					return false
				}
			}
			return true
		}
		walk(keys)
	}
}

// rangesOf returns the build ranges of the clauses that hold for a combination of options.
func rangesOf(by []Applies, vehicle string, cell map[string]string) []*Built {
	var ranges []*Built
	for _, b := range by {
		if b.Vehicle != vehicle {
			continue
		}
		if b.admits(cell) {
			ranges = append(ranges, b.Built)
		}
	}
	return ranges
}

// admits reports whether a combination of options meets the clause.
func (a *Applies) admits(cell map[string]string) bool {
	for key, allowed := range a.Where {
		if !slices.Contains(allowed, cell[key]) {
			return false
		}
	}
	return true
}
