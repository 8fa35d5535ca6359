package whom

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// Asked says for which vehicle a procedure is wanted.
type Asked struct {
	// Vehicle is a vehicle's id, VIN a vehicle identification number; both may be absent
	// where the procedure is for one vehicle.
	Vehicle, VIN string
	Stated       Stated
}

// NotFor says that a record is for another vehicle or variant than the one asked for.
type NotFor struct {
	Record specdata.Name
	// For is what the record is for, Asked what was asked for, in words.
	For, Asked string
	// Differs lists the keys on which the two differ.
	Differs []string
}

// Error implements error.
func (e *NotFor) Error() string {
	return fmt.Sprintf("%s is not for this vehicle: asked for %s, but it is for %s", e.Record, e.Asked, e.For)
}

// Undecided says that more must be known of the vehicle before a record can be said
// to be for it.
type Undecided struct {
	Record    specdata.Name
	For       string
	Questions []Question
}

// Error implements error.
func (e *Undecided) Error() string {
	var texts []string
	for _, q := range e.Questions {
		texts = append(texts, q.Text)
	}
	return fmt.Sprintf("%s is for %s. %s", e.Record, e.For, strings.Join(texts, " "))
}

// Fits says whether a record, by its clauses of applicability, is for the vehicle asked
// for. It returns the id of the vehicle, "" where none is named and the record is for
// several, and what is known of it. Where nothing is said about the vehicle but which it
// is, the record fits, and whatever is shown of it says what it is for; where more is
// said, the record has to hold for all that is said, and what remains open is asked.
// The errors are *Wrong, *NotFor and *Undecided.
func Fits(l library.Library, name specdata.Name, as []specdata.Applies, asked Asked) (id string, f Facts, err error) {
	r := record{l, name, as}
	if id, err = r.vehicleOf(asked); err != nil {
		return "", f, err
	}
	known := asked.Stated
	if len(known.Options) == 0 && known.Built == "" && asked.VIN == "" && known.Side == "" {
		return id, f, nil
	}
	if id == "" {
		return "", f, &Undecided{name, Of(l, as).Text(), []Question{r.whichVehicle()}}
	}
	vehicle := library.Vehicle(l, id)
	if vehicle == nil {
		return "", f, wrong("vehicle", "vehicle %q is not in the library", id)
	}
	if f, err = known.Check(vehicle); err != nil {
		return "", f, err
	}
	switch st := f.Record(as); {
	case !st.May():
		return "", f, r.notFor(vehicle.Title+withComma(f.String()), st.Differs)
	case !st.Applies() && (asked.VIN != "" || known.Built != "" || concerns(f, as)):
		return "", f, &Undecided{name, Of(l, as).Variant(id, nil).Text(), f.Ask(st.Open, as)}
	}
	return id, f, nil
}

// record is what the questions and refusals are about.
type record struct {
	library.Library
	name specdata.Name
	as   []specdata.Applies
}

// Pick finds the variants of a procedure that are for the vehicle asked for. See Fits.
func Pick(l library.Library, p *specdata.Procedure, asked Asked) ([]dryrun.Variant, error) {
	asked.Stated.Side = "" // a procedure's side is a choice, not a condition
	clauses := slices.Clone(p.AppliesTo)
	for i := range clauses {
		clauses[i].Side = ""
	}
	id, facts, err := Fits(l, p.Name(), clauses, asked)
	if err != nil {
		return nil, err
	}
	var left []dryrun.Variant
	for _, v := range dryrun.Variants(l, p) {
		if (id == "" || v.Vehicle == id) && !slices.ContainsFunc(v.Options, func(o dryrun.Option) bool {
			said, ok := facts.Options[o.Key]
			return ok && said != o.Value
		}) {
			left = append(left, v)
		}
	}
	if len(left) == 0 {
		r := record{l, p.Name(), p.AppliesTo}
		return nil, r.notFor(strings.TrimPrefix(withComma(facts.String()), ", "), slices.Sorted(maps.Keys(facts.Options)))
	}
	return left, nil
}

// concerns reports whether an option that is known is one that the clauses ask for.
// One that only a step asks for chooses between ways of the job and says nothing of
// whether it is for the vehicle.
func concerns(f Facts, clauses []specdata.Applies) bool {
	for _, a := range clauses {
		for key := range a.Where {
			if _, ok := f.Options[key]; ok && a.Vehicle == f.Vehicle.ID {
				return true
			}
		}
	}
	return false
}

// One is Pick for what is made of one variant at a time: where several are left, it
// asks for what tells them apart.
func One(l library.Library, p *specdata.Procedure, asked Asked) (dryrun.Variant, error) {
	left, err := Pick(l, p, asked)
	switch {
	case err != nil:
		return dryrun.Variant{}, err
	case len(left) == 1:
		return left[0], nil
	}
	u := &Undecided{Record: p.Name(), For: Of(l, p.AppliesTo).Text()}
	if slices.ContainsFunc(left, func(v dryrun.Variant) bool { return v.Vehicle != left[0].Vehicle }) {
		u.Questions = []Question{record{l, p.Name(), p.AppliesTo}.whichVehicle()}
		return dryrun.Variant{}, u
	}
	values := map[string][]string{}
	for _, v := range left {
		for _, o := range v.Options {
			if !slices.Contains(values[o.Key], o.Value) {
				values[o.Key] = append(values[o.Key], o.Value)
			}
		}
	}
	for _, key := range slices.Sorted(maps.Keys(values)) {
		if len(values[key]) > 1 {
			u.Questions = append(u.Questions, whichOption(key, values[key]))
		}
	}
	return dryrun.Variant{}, u
}

// SideOf checks the side that a procedure was asked for, and returns left, right,
// both or "". The errors are *Wrong and *Undecided.
func SideOf(l library.Library, p *specdata.Procedure, side string) (string, error) {
	asked := specdata.Side(side)
	switch {
	case asked != "" && asked != specdata.SideLeft && asked != specdata.SideRight:
		return "", wrong("side", "side %q is unknown; allowed: left, right", specdata.Shorten(side))
	case p.Sides == "one" && asked == "":
		return "", &Undecided{p.Name(), Of(l, p.AppliesTo).Text(), []Question{{KeySide, []string{"left", "right"}, "On which side is the work, seen from the driver's seat: left or right?"}}}
	case p.Sides == "both" && asked != "":
		return "", wrong("side", "procedure %s takes no side: it is done on both sides; leave the side out", p.ID)
	case p.Sides == "none" && asked != "":
		return "", wrong("side", "procedure %s takes no side: it says itself where it works; leave the side out", p.ID)
	case p.Sides == "both":
		return "both", nil
	}
	return side, nil
}

// vehicleOf returns the id of the vehicle asked for, "" where the record is for
// several and none is named.
func (r record) vehicleOf(asked Asked) (string, error) {
	own := r.vehicles()
	id := asked.Vehicle
	if asked.VIN != "" {
		ids, err := ByVIN(r, asked.VIN)
		switch {
		case err != nil:
			return "", err
		case len(ids) == 0:
			return "", wrong("vin", "vin %q fits the numbers of no vehicle in the library; give the vehicle by its id", asked.VIN)
		case id != "" && !slices.Contains(ids, id):
			return "", wrong("vin", "vin %q is not of vehicle %s but of %s; leave one of them out", asked.VIN, id, strings.Join(ids, " or "))
		case id == "" && len(ids) > 1:
			return "", &Undecided{r.name, Of(r, r.as).Text(), []Question{{KeyVehicle, ids, fmt.Sprintf("The number fits several vehicles; which is it: %s?", strings.Join(ids, " or "))}}}
		case id == "":
			id = ids[0]
		}
	}
	switch {
	case id == "" && len(own) == 1:
		return own[0], nil
	case id == "" || slices.Contains(own, id):
		return id, nil
	}
	title := fmt.Sprintf("vehicle %q", specdata.Shorten(id))
	switch v := library.Vehicle(r, id); {
	case v != nil:
		title = v.Title
	default:
		return "", wrong("vehicle", "%s is not in the library%s; %s is for %s", title, specdata.DidYouMean(id, library.IDs(r, specdata.KindVehicle)), r.name, strings.Join(own, ", "))
	}
	return "", r.notFor(title, []string{KeyVehicle})
}

// vehicles lists the ids of the vehicles that the record is for, each once.
func (r record) vehicles() []string {
	var ids []string
	for _, a := range r.as {
		if !slices.Contains(ids, a.Vehicle) {
			ids = append(ids, a.Vehicle)
		}
	}
	return ids
}

func (r record) whichVehicle() Question {
	ids := r.vehicles()
	return Question{KeyVehicle, ids, fmt.Sprintf("Which vehicle is it: %s?", strings.Join(ids, " or "))}
}

func (r record) notFor(asked string, differs []string) error {
	return &NotFor{r.name, Of(r, r.as).Text(), asked, differs}
}

func withComma(s string) string {
	if s == "" {
		return ""
	}
	return ", " + s
}
