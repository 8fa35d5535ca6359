package draft

import (
	"maps"
	"slices"
	"strings"

	"proofload/specdata"
)

// where returns the options that a fastener is for, nil where it is for everything the
// draft is for. What a step cannot be restricted to is listed as missing.
func (w *writer) where(f *specdata.Fastener) map[string][]string {
	if found, ok := w.wheres[f.ID]; ok {
		return found
	}
	found := w.narrower(f)
	w.wheres[f.ID] = found
	return found
}

func (w *writer) narrower(f *specdata.Fastener) map[string][]string {
	var of []specdata.Applies
	for _, a := range f.AppliesTo {
		a.Side = "" // either side has its own
		if a.Vehicle == w.vehicle.ID && specdata.Meets(w.clauses, a) {
			of = append(of, a)
		}
	}
	covered := true
	for _, c := range w.clauses {
		if _, rest := c.Uncovered(of, w.vehicle); rest {
			covered = false
		}
	}
	if covered {
		return nil
	}
	name := "the " + named(f) + " (" + f.ID + ")"
	for _, a := range of {
		if !a.Built.Whole() && !slices.ContainsFunc(w.clauses, func(c specdata.Applies) bool { return c.Built != nil && c.Built.Within(a.Built) }) {
			w.missing = append(w.missing, "for which builds "+name+" stand in a step: their record is for "+a.String()+" and a step cannot be; split assembly "+w.assembly.ID+" by build range")
		}
	}
	where, ok := union(of)
	if !ok {
		w.missing = append(w.missing, "for which options "+name+" stand in a step: their record lists conditions that one step cannot say; split assembly "+w.assembly.ID)
		return nil
	}
	return where
}

// union returns the options of some clauses as one condition; ok is false where one
// cannot say them: they differ in more than one key.
func union(as []specdata.Applies) (where map[string][]string, ok bool) {
	where = maps.Clone(as[0].Where)
	for _, a := range as[1:] {
		differs := ""
		for key := range maps.Keys(merged(where, a.Where)) {
			if slices.Equal(where[key], a.Where[key]) {
				continue
			}
			if differs != "" || where[key] == nil || a.Where[key] == nil {
				return nil, false
			}
			differs = key
		}
		for _, v := range a.Where[differs] {
			if !slices.Contains(where[differs], v) {
				where[differs] = append(slices.Clone(where[differs]), v)
			}
		}
	}
	return where, true
}

func merged(a, b map[string][]string) map[string][]string {
	both := maps.Clone(a)
	if both == nil {
		both = map[string][]string{}
	}
	maps.Copy(both, b)
	return both
}

// optioned returns a title with the options it is for: "Head bolt (engine p18)".
func optioned(title string, where map[string][]string) string {
	if len(where) == 0 {
		return title
	}
	return title + " (" + specdata.Applies{Where: where}.Options() + ")"
}

// forOptions restricts a step to some options and says them in its sentence, so that
// two steps of which a vehicle gets one are told apart.
func forOptions(s *specdata.Step, where map[string][]string) {
	if s.Where = where; len(where) > 0 {
		s.Text = optioned(strings.TrimSuffix(s.Text, "."), where) + "."
	}
}
