// Package whom says for which vehicle, options, builds, side and moment something
// holds, and whether that includes the vehicle a person asks about. Every sheet,
// page and answer takes its applicability from here, so that none leaves it out and
// none guesses a variant.
package whom

import (
	"cmp"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Stated is what a request states about a vehicle, unchecked. What it leaves out is
// unknown, which is not the same as any.
type Stated struct {
	// Options are "key=value".
	Options []string
	// Built is a build point: a day, an ISO 8601 week or a production number.
	Built string
	// Side is left, right or centre.
	Side string
}

// Wrong is a field of a request that cannot be right, whatever the record.
type Wrong struct{ Field, Message string }

// Error implements error.
func (w *Wrong) Error() string { return w.Message }

func wrong(field, format string, args ...any) *Wrong {
	return &Wrong{field, fmt.Sprintf(format, args...)}
}

// Facts are what is known, checked against the vehicle.
type Facts struct {
	Vehicle *specdata.Vehicle
	Options map[string]string
	// Built is nil where it is not known.
	Built *specdata.Built
	Side  specdata.Side
}

// Check returns what is stated as facts of the vehicle. The error is a *Wrong.
func (k Stated) Check(v *specdata.Vehicle) (Facts, error) {
	f := Facts{Vehicle: v, Options: map[string]string{}, Side: specdata.Side(plain(k.Side))}
	for _, o := range k.Options {
		key, value, ok := strings.Cut(o, "=")
		if !ok {
			return f, wrong("options", "option %q has no value; write key=value, like rear_brake=disc", specdata.Shorten(o))
		}
		key = spelt(key, maps.Keys(v.Options))
		value = spelt(value, slices.Values(v.Options[key]))
		values, ok := v.Options[key]
		if !ok {
			return f, wrong("options", "option key %q is unknown on %s; allowed: %s%s", specdata.Shorten(key), v.ID,
				strings.Join(slices.Sorted(maps.Keys(v.Options)), ", "), specdata.DidYouMean(key, maps.Keys(v.Options)))
		}
		if !slices.Contains(values, value) {
			return f, wrong("options", "option %s has no value %q on %s; allowed: %s%s", key, specdata.Shorten(value), v.ID,
				strings.Join(values, ", "), specdata.DidYouMean(value, slices.Values(values)))
		}
		if was, twice := f.Options[key]; twice && was != value {
			return f, wrong("options", "option %s is given as %s and as %s; give one value a key", key, was, value)
		}
		f.Options[key] = value
	}
	if k.Built != "" {
		f.Built = &specdata.Built{From: k.Built, To: k.Built}
		if err := f.Built.Check(); err != nil {
			return f, wrong("built", "%v", err)
		}
		if v.Built.Comparable(f.Built) && !v.Built.Overlaps(f.Built) {
			return f, wrong("built", "build %s is outside those of %s, %s; check the vehicle", k.Built, v.ID, v.Built)
		}
	}
	switch f.Side {
	case "", specdata.SideLeft, specdata.SideRight, specdata.SideCentre:
	default:
		return f, wrong("side", "side %q is unknown; allowed: left, right, centre", specdata.Shorten(k.Side))
	}
	return f, nil
}

// plain is a word of a closed vocabulary as a person may type it: " LEFT " is left.
func plain(s string) string { return strings.ToLower(strings.TrimSpace(s)) }

// spelt returns the name that somebody means who writes it in other letters, "Rear brake"
// for rear_brake, or what was typed where no name is meant.
func spelt(typed string, names iter.Seq[string]) string {
	one := func(s string) string { return strings.NewReplacer(" ", "_", "-", "_").Replace(plain(s)) }
	for name := range names {
		if one(name) == one(typed) {
			return name
		}
	}
	return typed
}

// String puts what is known into words: "rear brake drum, built 2020-W01".
func (f Facts) String() string {
	var words []string
	for _, k := range slices.Sorted(maps.Keys(f.Options)) {
		words = append(words, spaced(k)+" "+f.Options[k])
	}
	if f.Built != nil {
		words = append(words, "built "+f.Built.String())
	}
	switch f.Side {
	case "":
	case specdata.SideCentre:
		words = append(words, "centre")
	default:
		words = append(words, string(f.Side)+" side")
	}
	return strings.Join(words, ", ")
}

func spaced(key string) string { return strings.ReplaceAll(key, "_", " ") }

// The keys of what a clause asks for, beside those of options.
const (
	KeyBuilt   = "built"
	KeySide    = "side"
	KeyVehicle = "vehicle"
)

// For returns what an answer holds for that is made for what is known.
func (f Facts) For(l library.Library) For {
	a := specdata.Applies{Vehicle: f.Vehicle.ID, Built: f.Built, Side: f.Side}
	if len(f.Options) > 0 {
		a.Where = map[string][]string{}
		for key, value := range f.Options {
			a.Where[key] = []string{value}
		}
	}
	return Of(l, []specdata.Applies{a})
}

// Standing is how a clause or a record stands to what is known: what it differs
// on, and what must be known before it can be said to apply.
type Standing struct {
	Differs, Open []string
}

// Applies reports whether the clause or record surely holds.
func (s Standing) Applies() bool { return len(s.Differs) == 0 && len(s.Open) == 0 }

// May reports whether it may hold.
func (s Standing) May() bool { return len(s.Differs) == 0 }

// Clause judges one clause, which is of the vehicle.
func (f Facts) Clause(a *specdata.Applies) Standing {
	var s Standing
	for _, key := range slices.Sorted(maps.Keys(a.Where)) {
		switch value, known := f.Options[key]; {
		case !known && covers(a.Where[key], f.Vehicle.Options[key]):
		case !known:
			s.Open = append(s.Open, key)
		case !slices.Contains(a.Where[key], value):
			s.Differs = append(s.Differs, key)
		}
	}
	switch {
	case a.Built.Whole() || f.Built == nil && f.Vehicle.Built.Within(a.Built):
	case f.Built == nil, !f.Built.Comparable(a.Built):
		s.Open = append(s.Open, KeyBuilt)
	case f.Built.Within(a.Built):
	case f.Built.Overlaps(a.Built): // a week that the split runs through
		s.Open = append(s.Open, KeyBuilt)
	default:
		s.Differs = append(s.Differs, KeyBuilt)
	}
	switch a.Side {
	case "", specdata.SideEach:
		if f.Side == specdata.SideCentre {
			s.Differs = append(s.Differs, KeySide)
		}
	case f.Side, specdata.SideCentre: // what is on neither side is there whichever side is worked on
	default:
		if f.Side != "" {
			s.Differs = append(s.Differs, KeySide)
		} else {
			s.Open = append(s.Open, KeySide)
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

// Record judges a record by its clauses for the vehicle: it applies where one
// does, may where one may, and else differs as its nearest clause does.
func (f Facts) Record(as []specdata.Applies) Standing {
	var best *Standing
	for i := range as {
		if as[i].Vehicle != f.Vehicle.ID {
			continue
		}
		s := f.Clause(&as[i])
		switch {
		case best == nil, s.Applies(), s.May() && !best.May():
			best = &s
		case s.May() && best.May() && !best.Applies():
			best.Open = Union(best.Open, s.Open)
		case !best.May() && len(s.Differs) < len(best.Differs):
			best = &s
		}
		if best.Applies() {
			break
		}
	}
	if best == nil {
		return Standing{Differs: []string{KeyVehicle}}
	}
	return *best
}

// Union returns the keys of both, each once, sorted.
func Union(a, b []string) []string {
	for _, k := range b {
		if !slices.Contains(a, k) {
			a = append(a, k)
		}
	}
	slices.Sort(a)
	return a
}

// BuildExample returns a build point of the sort that a vehicle's builds are counted by,
// one of its own where it has any: "2019-W26", "no 120001".
func BuildExample(v *specdata.Vehicle) string {
	const week = "2019-W26"
	if v == nil || v.Built == nil {
		return week
	}
	return cmp.Or(v.Built.From, v.Built.To, week)
}

// Question is something that must be known before one record applies.
type Question struct {
	// Key is an option's, or built, side or vehicle.
	Key string
	// Allowed lists the answers, where they can be listed.
	Allowed []string
	Text    string
}

// Ask words the questions for keys, given the clauses that wait for them.
func (f Facts) Ask(keys []string, waiting []specdata.Applies) []Question {
	var out []Question
	for _, key := range keys {
		switch key {
		case KeyBuilt:
			var ranges []string
			for _, a := range waiting {
				if a.Vehicle == f.Vehicle.ID && !a.Built.Whole() {
					ranges = Union(ranges, []string{a.Built.String()})
				}
			}
			text := "When was the vehicle built? This decides between: " + strings.Join(ranges, "; ")
			if len(ranges) == 1 { // one thing is not between anything
				text = "When was the vehicle built? It is only for those built " + ranges[0] + "."
			}
			out = append(out, Question{key, nil, text})
		case KeySide:
			out = append(out, Question{key, []string{"left", "right"}, "On which side, seen from the driver's seat?"})
		default:
			out = append(out, whichOption(key, f.Vehicle.Options[key]))
		}
	}
	return out
}

func whichOption(key string, values []string) Question {
	return Question{key, values, fmt.Sprintf("Which %s does the vehicle have: %s?", spaced(key), strings.Join(values, " or "))}
}
