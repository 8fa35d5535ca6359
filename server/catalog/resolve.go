package catalog

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/lexicon"
	"proofload/specdata/whom"
)

// Wanted says which fastener of which vehicle is meant.
type Wanted struct {
	// Vehicle is a vehicle's id, VIN a vehicle identification number; without either the
	// vehicle is asked for.
	Vehicle, VIN string
	// Every word of Place stands in the place, every word of Title in the title or the
	// place, in any spelling and as any shop says it; Thread is the designation.
	Place, Title, Thread string
	Stated               whom.Stated
}

// The outcomes of a resolution.
const (
	Resolved = "resolved"
	Ask      = "ask"
	None     = "none"
)

// Resolution is the one record that applies, or what must still be asked, or what
// came nearest. It never holds a record that only nearly applies as Fastener.
type Resolution struct {
	Outcome    string
	Fastener   *view.View
	Questions  []whom.Question
	Candidates []Candidate
	// LeftOut counts the candidates that are not listed, because the list is bounded.
	LeftOut  int
	Vehicle  string
	Position int64
	// For is the vehicle with what the request says of it; the zero For where none is known.
	For whom.For
}

// Candidate is a record that may yet apply, or nearly applies.
type Candidate struct {
	Fastener *specdata.Fastener
	// Differs are the keys on which it differs from what was asked for.
	Differs []string
}

// maxCandidates bounds what a resolution lists; LeftOut counts the rest.
const maxCandidates = 20

// Resolve finds the record that applies to a vehicle.
func (c *Catalog) Resolve(ctx context.Context, w Wanted, m ask.Moment) (*Resolution, error) {
	if err := w.check(); err != nil {
		return nil, err
	}
	position, err := c.Position(ctx, m)
	if err != nil {
		return nil, err
	}
	s := c.Follower.At(ctx, position)
	id, which, err := w.vehicle(s)
	if err != nil {
		return nil, err
	}
	if which != nil {
		return &Resolution{Outcome: Ask, Questions: []whom.Question{*which}, Position: position}, nil
	}
	f, err := c.facts(s, specdata.NewName(specdata.KindVehicle, id), w.Stated)
	if err != nil {
		return nil, err
	}
	if w.Place == "" && w.Title == "" && w.Thread == "" {
		return &Resolution{Outcome: Ask, Questions: []whom.Question{whichFastener(f, s)}, Vehicle: id, Position: position}, s.Err()
	}
	res := w.among(f, s)
	if err := s.Err(); err != nil {
		return nil, err
	}
	res.Vehicle, res.Position, res.For = id, position, f.For(s)
	if res.Outcome == Resolved {
		r, err := s.Record(res.Candidates[0].Fastener.Name())
		if err != nil {
			return nil, err
		}
		res.Candidates = nil
		if res.Fastener, err = c.view(ctx, s, r); err != nil {
			return nil, err
		}
	}
	return res, nil
}

func (w Wanted) check() error {
	switch {
	case w.Vehicle != "" && !specdata.ValidID(w.Vehicle):
		return fault.Field("vehicle", "vehicle %q is not an id; write lower-case words joined by hyphens, without the collection", ask.Clip(w.Vehicle))
	case len(w.Place) > 200 || len(w.Title) > 200 || len(w.Thread) > 200:
		return fault.Field("title", "place, title or thread has over 200 bytes; write what stands in the torque table")
	}
	if w.VIN != "" {
		if err := specdata.CheckVIN(w.VIN); err != nil {
			return fault.Field("vin", "vin %q: %v", ask.Clip(w.VIN), err)
		}
	}
	return nil
}

// vehicle returns the id of the vehicle that is meant, or what must be asked first. A
// number that is given beside an id has to be one of that vehicle.
func (w Wanted) vehicle(s *snapshot.Snapshot) (string, *whom.Question, error) {
	if w.VIN == "" {
		if w.Vehicle != "" {
			return w.Vehicle, nil, nil
		}
		var ids []string
		for e := range s.All(specdata.KindVehicle) {
			ids = append(ids, e.Name().ID())
		}
		slices.Sort(ids)
		return "", &whom.Question{Key: "vehicle", Allowed: ids, Text: "Which vehicle is it?"}, s.Err()
	}
	ids, err := byVIN(s, w.VIN)
	switch {
	case err != nil:
		return "", nil, err
	case w.Vehicle != "" && !slices.Contains(ids, w.Vehicle):
		return "", nil, fault.Field("vin", "vin %q is of the vehicle %s and not of %s, which is given beside it; look at the plate again", w.VIN, strings.Join(ids, " or "), ask.Clip(w.Vehicle))
	case w.Vehicle != "":
		return w.Vehicle, nil, nil
	case len(ids) > 1:
		return "", &whom.Question{Key: "vehicle", Allowed: ids, Text: fmt.Sprintf("The number fits several vehicles; which is it: %s?", strings.Join(ids, " or "))}, nil
	}
	return ids[0], nil, nil
}

// whichFastener asks for a place where nothing says which fastener is meant.
func whichFastener(f whom.Facts, s *snapshot.Snapshot) whom.Question {
	var places []string
	for e := range s.ForVehicle(specdata.KindFastener, f.Vehicle.ID) {
		places = whom.Union(places, []string{e.Record.(*specdata.Fastener).Place})
	}
	return whom.Question{Key: "place", Allowed: places, Text: "Which fastener is meant? Give words of its place or its title."}
}

// byVIN lists the vehicles whose pattern a number fits; at least one, or an error.
func byVIN(s *snapshot.Snapshot, vin string) ([]string, error) {
	ids, err := whom.ByVIN(s, vin)
	switch broken := s.Err(); {
	case broken != nil:
		return nil, broken
	case err != nil:
		return nil, Refused(err)
	case len(ids) == 0:
		return nil, fault.New(fault.RecordNotFound, "vin %q fits the numbers of no vehicle in the library; give the vehicle by its id", vin).With("vin", vin)
	}
	return ids, nil
}

// among judges the vehicle's fasteners. A resolved one is the only candidate.
func (w Wanted) among(f whom.Facts, s *snapshot.Snapshot) *Resolution {
	var sure, maybe, not []Candidate
	var open []string
	var waiting []specdata.Applies
	for e := range s.ForVehicle(specdata.KindFastener, f.Vehicle.ID) {
		r := e.Record.(*specdata.Fastener)
		st := f.Record(r.AppliesTo)
		differs := append(w.differs(r), st.Differs...)
		switch {
		case len(differs) > 0:
			not = append(not, Candidate{r, differs})
		case st.Applies():
			sure = append(sure, Candidate{r, nil})
		default:
			maybe = append(maybe, Candidate{r, nil})
			open = whom.Union(open, st.Open)
			waiting = append(waiting, r.AppliesTo...)
		}
	}
	possible := append(sure, maybe...)
	switch {
	case len(possible) == 0:
		// Nearest first: the fewest differences, and rather another build of the
		// same fastener than another fastener.
		slices.SortStableFunc(not, func(a, b Candidate) int {
			return cmp.Or(cmp.Compare(w.distance(a), w.distance(b)), strings.Compare(a.Fastener.ID, b.Fastener.ID))
		})
		near := not[:0]
		for _, n := range not {
			if w.distance(n) < far {
				near = append(near, n)
			}
		}
		return &Resolution{Outcome: None, Candidates: near[:min(len(near), maxCandidates)], LeftOut: max(0, len(near)-maxCandidates)}
	case len(sure) == 1 && len(maybe) == 0:
		return &Resolution{Outcome: Resolved, Candidates: sure}
	}
	questions := f.Ask(open, waiting)
	if len(sure) > 1 {
		questions = append(questions, tell(sure))
	}
	return &Resolution{Outcome: Ask, Questions: questions, Candidates: possible[:min(len(possible), maxCandidates)], LeftOut: max(0, len(possible)-maxCandidates)}
}

// differs lists what of the description does not fit a fastener.
func (w Wanted) differs(f *specdata.Fastener) []string {
	var out []string
	if w.Place != "" && !fits(w.Place, f.Place) {
		out = append(out, "place")
	}
	if missed, _ := w.missed(f); missed > 0 {
		out = append(out, "title")
	}
	if w.Thread != "" && (f.Thread == nil || !sameThread(f.Thread.Designation, w.Thread)) {
		out = append(out, "thread")
	}
	return out
}

// sameThread compares designations as people type them: "M10 × 1.25" is M10x1.25.
func sameThread(a, b string) bool {
	plain := strings.NewReplacer("×", "x", " ", "")
	return strings.EqualFold(plain.Replace(a), plain.Replace(b))
}

// missed counts the words of the title that a fastener has neither in its title
// nor in its place, out of all.
func (w Wanted) missed(f *specdata.Fastener) (missed, all int) {
	return missing(w.Title, f.Title+" · "+f.Place)
}

// fits reports whether a text has all words of a description, in any spelling and as
// any shop says it.
func fits(description, text string) bool {
	missed, _ := missing(description, text)
	return missed == 0 || run(description) == run(text)
}

// missing counts the words of a description that a text lacks, out of all. Both are
// cut into words by the lexicon, so that what is one word here is one there.
func missing(description, text string) (missed, all int) {
	asked := lexicon.Default().Query(description)
	if len(asked) == 0 {
		return 0, 0
	}
	has := lexicon.Default().Searched(text)
	for _, a := range asked {
		all++
		if _, ok := slices.BinarySearch(has, a.Word); !ok {
			missed++
		}
	}
	return missed, all
}

// far is the distance of what is no candidate at all: it fits no part of the description.
const far = 1 << 20

// distance orders candidates that do not apply.
func (w Wanted) distance(c Candidate) int {
	missed, all := w.missed(c.Fastener)
	elsewhere := slices.Contains(c.Differs, "place")
	if missed == all && (w.Place == "" || elsewhere) {
		return far
	}
	d := 10*missed + len(c.Differs)
	if elsewhere {
		d += 10
	}
	return d
}

// tell asks for what tells apart several records that all apply.
func tell(cs []Candidate) whom.Question {
	for _, by := range []struct {
		key string
		of  func(*specdata.Fastener) string
	}{
		{"place", func(f *specdata.Fastener) string { return f.Place }},
		{"title", func(f *specdata.Fastener) string { return f.Title }},
		{"thread", func(f *specdata.Fastener) string {
			if f.Thread == nil {
				return ""
			}
			return f.Thread.Designation
		}},
		{"name", func(f *specdata.Fastener) string { return string(f.Name()) }},
	} {
		var values []string
		for _, c := range cs {
			if v := by.of(c.Fastener); v != "" {
				values = whom.Union(values, []string{v})
			}
		}
		if len(values) == len(cs) {
			return whom.Question{Key: by.key, Allowed: values, Text: fmt.Sprintf("Several fasteners apply; which %s is meant: %s?", by.key, strings.Join(values, " or "))}
		}
	}
	return whom.Question{Key: "name", Text: "Several fasteners apply; read one by its name."}
}
