package whom

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/specdata/wording"
)

// For is what something shown to a person holds for. Whatever prints a value, a step
// or a verdict prints it, with its Text and its Not. The zero For holds for nothing
// and says so.
type For struct {
	clauses []specdata.Applies
	// titles and vehicles are those of the vehicles of the clauses, by id.
	titles   map[string]string
	vehicles map[string]*specdata.Vehicle
	side     string
	moment   Moment
}

// Of returns what clauses of applicability hold for.
func Of(l library.Library, as []specdata.Applies) For {
	f := For{clauses: slices.Clone(as), titles: map[string]string{}, vehicles: map[string]*specdata.Vehicle{}}
	for i := range as {
		id := as[i].Vehicle
		f.titles[id] = id
		if v := library.Vehicle(l, id); v != nil {
			f.titles[id], f.vehicles[id] = v.Title, v
		}
	}
	return f
}

// Variant narrows it to a vehicle and one value each of some options.
func (f For) Variant(vehicle string, options map[string]string) For {
	where := make(map[string][]string, len(options))
	for k, v := range options {
		where[k] = []string{v}
	}
	var left []specdata.Applies
	for _, a := range f.clauses {
		if a.Vehicle != vehicle {
			continue
		}
		if narrow, ok := a.Restrict(where); ok {
			left = append(left, narrow)
		}
	}
	f.clauses = left
	return f
}

// What a For says of sides where it is not left or right.
const bothSides, eitherSide = "both", "either"

// OnSide says which side was chosen: left, right, both or "".
func (f For) OnSide(side string) For {
	f.side = side
	return f
}

// At says of which moment it is.
func (f For) At(m Moment) For {
	f.moment = m
	return f
}

// IsZero reports whether it is of nothing that is for a vehicle.
func (f For) IsZero() bool { return len(f.clauses) == 0 }

// Side returns the side that was chosen: left, right, both, either for a procedure
// whose side is still to be chosen, or "".
func (f For) Side() string { return f.side }

// Moment returns the moment it is of.
func (f For) Moment() Moment { return f.moment }

// Vehicle returns the titles of the vehicles, "Vessary Quill 1.4".
func (f For) Vehicle() string {
	var titles []string
	for i := range f.clauses {
		if t := f.titles[f.clauses[i].Vehicle]; !slices.Contains(titles, t) {
			titles = append(titles, t)
		}
	}
	return strings.Join(titles, " or ")
}

// Text says what it is for: "Vessary Quill 1.4, rear brake disc, built up to
// 2019-W26, left side".
func (f For) Text() string {
	if len(f.clauses) == 0 {
		return "no vehicle"
	}
	var words []string
	for i := range f.clauses {
		a := f.clauses[i]
		if v := f.vehicles[a.Vehicle]; v != nil && v.Built.Within(a.Built) {
			a.Built = nil // every one of them
		}
		words = append(words, wording.Applies(f.titles[a.Vehicle], &a))
	}
	text := strings.Join(words, "; or ")
	switch f.side {
	case "":
		return text
	case bothSides:
		return text + ", both sides"
	case eitherSide:
		return text + ", either side"
	}
	return text + ", " + f.side + " side"
}

// Not says what it is not for: the other values of the options it asks for, the
// other builds of the vehicle, the other side. Whatever it says, another vehicle is
// never included.
func (f For) Not() string {
	var not []string
	seen := map[string]bool{}
	several := slices.ContainsFunc(f.clauses, func(a specdata.Applies) bool { return a.Vehicle != f.clauses[0].Vehicle })
	for i := range f.clauses {
		id := f.clauses[i].Vehicle
		v := f.vehicles[id]
		if seen[id] || v == nil {
			continue
		}
		seen[id] = true
		for _, text := range f.others(v) {
			if several {
				text = f.titles[id] + " with " + text
			}
			not = append(not, text)
		}
	}
	switch f.side {
	case string(specdata.SideLeft):
		not = append(not, "the right side")
	case string(specdata.SideRight):
		not = append(not, "the left side")
	}
	return strings.Join(append(not, "any other vehicle"), "; ")
}

// maxOthers bounds the variants that Not lists one by one.
const maxOthers = 8

// others lists what of a vehicle is not included.
func (f For) others(v *specdata.Vehicle) []string {
	var own []specdata.Applies
	for _, a := range f.clauses {
		if a.Vehicle == v.ID {
			own = append(own, a)
		}
	}
	if len(own) == 1 { // each condition by itself says it shortest
		return outside(&own[0], v)
	}
	var out []string
	whole := specdata.Applies{Vehicle: v.ID}
	for range maxOthers {
		rest, ok := whole.Uncovered(own, v)
		if !ok {
			return out
		}
		out = append(out, strings.TrimPrefix(wording.Applies("", withoutWhole(rest, v)), ", "))
		own = append(own, rest)
	}
	return append(out, "further variants")
}

// withoutWhole leaves out of a range the ends that are the vehicle's own.
func withoutWhole(a specdata.Applies, v *specdata.Vehicle) *specdata.Applies {
	if a.Built.Whole() || v.Built.Whole() {
		return &a
	}
	short := *a.Built
	if short.From == v.Built.From {
		short.From = ""
	}
	if short.To == v.Built.To {
		short.To = ""
	}
	a.Built = &short
	return &a
}

// outside lists what one clause leaves out of its vehicle.
func outside(a *specdata.Applies, v *specdata.Vehicle) []string {
	var out []string
	for _, key := range slices.Sorted(maps.Keys(a.Where)) {
		var others []string
		for _, value := range v.Options[key] {
			if !slices.Contains(a.Where[key], value) {
				others = append(others, value)
			}
		}
		if len(others) > 0 {
			out = append(out, spaced(key)+" "+strings.Join(others, " or "))
		}
	}
	if a.Built.Whole() {
		return append(out, otherSide(a.Side)...)
	}
	// The bounds of the vehicle's own range are not worth naming.
	holes, ok := specdata.Holes(nil, []*specdata.Built{a.Built})
	if !ok {
		return append(out, "other builds")
	}
	for _, h := range holes {
		if !v.Built.Comparable(h) || v.Built.Overlaps(h) {
			out = append(out, "built "+h.String())
		}
	}
	return append(out, otherSide(a.Side)...)
}

func otherSide(s specdata.Side) []string {
	switch s {
	case specdata.SideLeft:
		return []string{"the right side"}
	case specdata.SideRight:
		return []string{"the left side"}
	}
	return nil
}

// Lines returns what every output says: "FOR …" and "NOT FOR …".
func (f For) Lines() [2]string {
	return [2]string{"FOR " + f.Text(), "NOT FOR " + f.Not()}
}

// Moment is the state of a library that something was made from.
type Moment struct {
	// Position is that of the library, 0 for a folder, which has none.
	Position int64
	// Published is when the position was.
	Published time.Time
	// Newest is the newest position, 0 where that is not known.
	Newest int64
	// Changed says, a line each, what of it has changed since and what it is now.
	Changed []string
}

// Old reports whether a newer state of the library is known.
func (m Moment) Old() bool { return m.Newest > m.Position }

// Stale reports whether what is shown has changed since.
func (m Moment) Stale() bool { return m.Old() && len(m.Changed) > 0 }

// Banner says that a moment is old and whether what is shown changed since, "" for
// the newest.
func (m Moment) Banner() string {
	if !m.Old() {
		return ""
	}
	text := fmt.Sprintf("OLD: as of position %d", m.Position)
	if !m.Published.IsZero() {
		text += ", published " + m.Published.UTC().Format("2 Jan 2006 15:04 UTC")
	}
	if m.Stale() {
		return text + ". CHANGED SINCE – do not work to this."
	}
	return text + fmt.Sprintf(". Unchanged up to position %d.", m.Newest)
}

// Short says the moment in a footer: "position 5", "OLD: position 1 of 5, changed since".
func (m Moment) Short() string {
	switch {
	case m.Position == 0:
		return ""
	case m.Stale():
		return fmt.Sprintf("OLD: position %d of %d, changed since", m.Position, m.Newest)
	case m.Old():
		return fmt.Sprintf("OLD: position %d of %d", m.Position, m.Newest)
	}
	return fmt.Sprintf("position %d", m.Position)
}
