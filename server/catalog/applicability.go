package catalog

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"proofload/server/fault"
	"proofload/specdata"
)

// Known is what a request says about a vehicle. What it leaves out is unknown,
// which is not the same as any.
type Known struct {
	// Options are "key=value".
	Options []string
	Built   string
	Side    string
}

// facts are what is known, checked against the vehicle.
type facts struct {
	vehicle *specdata.Vehicle
	options map[string]string
	built   *specdata.Built
	side    specdata.Side
}

// check holds what is known against what the vehicle can be.
func (k Known) check(v *specdata.Vehicle) (facts, error) {
	f := facts{vehicle: v, options: map[string]string{}, side: specdata.Side(k.Side)}
	for _, o := range k.Options {
		key, value, ok := strings.Cut(o, "=")
		if !ok {
			return f, fault.Field("options", "option %q has no value; write key=value, like rear_brake=disc", clip(o))
		}
		values, ok := v.Options[key]
		if !ok {
			return f, fault.Field("options", "option key %q is unknown on %s; allowed: %s%s", clip(key), v.ID,
				strings.Join(slices.Sorted(maps.Keys(v.Options)), ", "), specdata.DidYouMean(key, maps.Keys(v.Options)))
		}
		if !slices.Contains(values, value) {
			return f, fault.Field("options", "option %s has no value %q on %s; allowed: %s%s", key, clip(value), v.ID,
				strings.Join(values, ", "), specdata.DidYouMean(value, slices.Values(values)))
		}
		if was, twice := f.options[key]; twice && was != value {
			return f, fault.Field("options", "option %s is given as %s and as %s; give one value a key", key, was, value)
		}
		f.options[key] = value
	}
	if k.Built != "" {
		f.built = &specdata.Built{From: k.Built, To: k.Built}
		if err := f.built.Check(); err != nil {
			return f, fault.Field("built", "%v", err)
		}
		if v.Built.Comparable(f.built) && !v.Built.Overlaps(f.built) {
			return f, fault.Field("built", "build %s is outside those of %s, %s; check the vehicle", k.Built, v.ID, v.Built)
		}
	}
	if k.Side != "" {
		if err := validWord("side", k.Side, []specdata.Side{specdata.SideLeft, specdata.SideRight, specdata.SideCentre}); err != nil {
			return f, err
		}
	}
	return f, nil
}

// The keys of what a clause asks for, beside those of options.
const (
	keyBuilt = "built"
	keySide  = "side"
)

// standing is how a clause or a record stands to what is known: what it differs
// on, and what must be known before it can be said to apply.
type standing struct {
	differs, open []string
}

func (s standing) applies() bool { return len(s.differs) == 0 && len(s.open) == 0 }
func (s standing) may() bool     { return len(s.differs) == 0 }

// clause judges one clause, which is of the vehicle.
func (f facts) clause(a *specdata.Applies) standing {
	var s standing
	for _, key := range slices.Sorted(maps.Keys(a.Where)) {
		switch value, known := f.options[key]; {
		case !known && covers(a.Where[key], f.vehicle.Options[key]):
		case !known:
			s.open = append(s.open, key)
		case !slices.Contains(a.Where[key], value):
			s.differs = append(s.differs, key)
		}
	}
	switch {
	case a.Built.Whole() || f.built == nil && f.vehicle.Built.Within(a.Built):
	case f.built == nil, !f.built.Comparable(a.Built):
		s.open = append(s.open, keyBuilt)
	case f.built.Within(a.Built):
	case f.built.Overlaps(a.Built): // a week that the split runs through
		s.open = append(s.open, keyBuilt)
	default:
		s.differs = append(s.differs, keyBuilt)
	}
	switch a.Side {
	case "", specdata.SideEach:
		if f.side == specdata.SideCentre {
			s.differs = append(s.differs, keySide)
		}
	case f.side:
	default:
		if f.side != "" {
			s.differs = append(s.differs, keySide)
		} else if a.Side != specdata.SideCentre {
			s.open = append(s.open, keySide)
		}
	}
	return s
}

// covers reports whether a clause takes every value a vehicle can have.
func covers(taken, values []string) bool {
	for _, v := range values {
		if !slices.Contains(taken, v) {
			return false
		}
	}
	return len(values) > 0
}

// record judges a record by its clauses for the vehicle: it applies where one
// does, may where one may, and else differs as its nearest clause does.
func (f facts) record(as []specdata.Applies) standing {
	var best *standing
	for i := range as {
		if as[i].Vehicle != f.vehicle.ID {
			continue
		}
		s := f.clause(&as[i])
		switch {
		case best == nil, s.applies(), s.may() && !best.may():
			best = &s
		case s.may() && best.may() && !best.applies():
			best.open = union(best.open, s.open)
		case !best.may() && len(s.differs) < len(best.differs):
			best = &s
		}
		if best.applies() {
			break
		}
	}
	if best == nil {
		return standing{differs: []string{"vehicle"}}
	}
	return *best
}

func union(a, b []string) []string {
	for _, k := range b {
		if !slices.Contains(a, k) {
			a = append(a, k)
		}
	}
	slices.Sort(a)
	return a
}

// Question is something that must be known before one record applies.
type Question struct {
	Key     string
	Allowed []string
	Text    string
}

// ask words the questions for keys, given the clauses that wait for them.
func (f facts) ask(keys []string, waiting []specdata.Applies) []Question {
	var out []Question
	for _, key := range keys {
		switch key {
		case keyBuilt:
			var ranges []string
			for _, a := range waiting {
				if a.Vehicle == f.vehicle.ID && !a.Built.Whole() {
					ranges = union(ranges, []string{a.Built.String()})
				}
			}
			out = append(out, Question{key, nil, fmt.Sprintf("when was the vehicle built? it decides between: %s", strings.Join(ranges, "; "))})
		case keySide:
			out = append(out, Question{key, []string{"left", "right"}, "on which side, seen from the driver's seat?"})
		default:
			values := f.vehicle.Options[key]
			out = append(out, Question{key, values, fmt.Sprintf("which %s has the vehicle: %s?", strings.ReplaceAll(key, "_", " "), strings.Join(values, " or "))})
		}
	}
	return out
}
