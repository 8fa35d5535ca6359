package whom

import (
	"cmp"
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

// Nothing reports whether nothing is said about a vehicle. What is shown then says what
// it is for, and the reader compares.
func (a Asked) Nothing() bool {
	return a.Vehicle == "" && a.VIN == "" && len(a.Stated.Options) == 0 && a.Stated.Built == "" && a.Stated.Side == ""
}

// Say returns what somebody says who wants exactly a variant of a procedure: the vehicle,
// its options and a build, so that nothing is left to ask.
func Say(p *specdata.Procedure, v dryrun.Variant) Asked {
	asked := Asked{Vehicle: v.Vehicle}
	said := optionsOf(v)
	for i := range p.AppliesTo {
		a := &p.AppliesTo[i]
		if a.Vehicle != v.Vehicle || slices.ContainsFunc(v.Options, func(o dryrun.Option) bool {
			return len(a.Where[o.Key]) > 0 && !slices.Contains(a.Where[o.Key], o.Value)
		}) {
			continue
		}
		for key, values := range a.Where {
			if _, ok := said[key]; !ok {
				said[key] = values[0]
			}
		}
		if a.Built != nil {
			asked.Stated.Built = cmp.Or(a.Built.To, a.Built.From)
		}
		break
	}
	for _, key := range slices.Sorted(maps.Keys(said)) {
		asked.Stated.Options = append(asked.Stated.Options, key+"="+said[key])
	}
	return asked
}

func optionsOf(v dryrun.Variant) map[string]string {
	out := make(map[string]string, len(v.Options))
	for _, o := range v.Options {
		out[o.Key] = o.Value
	}
	return out
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
// several, and what is known of it. Where nothing is said, the record fits, and whatever
// is shown of it says what it is for. Where anything is said, if only which vehicle it is,
// the record has to hold for that vehicle, and what decides and is not known is asked.
// The errors are *Wrong, *NotFor and *Undecided.
func Fits(l library.Library, name specdata.Name, as []specdata.Applies, asked Asked) (id string, f Facts, err error) {
	r := record{l, name, as}
	if id, err = r.vehicleOf(asked); err != nil {
		return "", f, err
	}
	known := asked.Stated
	if asked.Nothing() {
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
	case !st.Applies():
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

// Words puts what is asked for into words, with the title of the vehicle: "Vessary Quill
// 1.4, rear brake disc, built 2018-W10".
func Words(l library.Library, r specdata.Record, asked Asked) string {
	id, err := record{l, r.Name(), specdata.AppliesOf(r)}.vehicleOf(asked)
	v := library.Vehicle(l, id)
	if err != nil || v == nil {
		return ""
	}
	f, err := asked.Stated.Check(v)
	if err != nil {
		return ""
	}
	return v.Title + withComma(f.String())
}

// SideOf checks the side that a procedure was asked for, and returns left, right,
// both or "". The errors are *Wrong, *NotFor and *Undecided.
func SideOf(l library.Library, p *specdata.Procedure, side string) (string, error) {
	side = plain(side)
	own := ownSide(p.AppliesTo)
	switch {
	case side != "" && side != string(specdata.SideLeft) && side != string(specdata.SideRight):
		return "", wrong("side", "side %q is unknown; allowed: left, right", specdata.Shorten(side))
	case own != "" && side != "" && side != string(own):
		return "", record{l, p.Name(), p.AppliesTo}.notFor("the "+side+" side", []string{KeySide})
	case own != "":
		return "", nil // its clauses say it
	case p.Sides == "one" && side == "":
		return "", &Undecided{p.Name(), Of(l, p.AppliesTo).Text(), []Question{{KeySide, []string{"left", "right"}, "On which side is the work, seen from the driver's seat: left or right?"}}}
	case p.Sides == "both" && side != "":
		return "", wrong("side", "procedure %s takes no side: it is done on both sides; leave the side out", p.ID)
	case p.Sides == "none" && side != "":
		return "", wrong("side", "procedure %s takes no side: it says itself where it works; leave the side out", p.ID)
	case p.Sides == "both":
		return "both", nil
	}
	return side, nil
}

// ownSide returns the one side that all clauses are for, "" where they are for either.
func ownSide(as []specdata.Applies) specdata.Side {
	for _, a := range as {
		if a.Side != as[0].Side || a.Side != specdata.SideLeft && a.Side != specdata.SideRight {
			return ""
		}
	}
	if len(as) == 0 {
		return ""
	}
	return as[0].Side
}

// OfRecord returns what a record holds for, the zero For for one of no vehicle.
func OfRecord(l library.Library, r specdata.Record) For {
	switch r := r.(type) {
	case *specdata.Procedure:
		return OfProcedure(l, r)
	case *specdata.Vehicle:
		return Of(l, []specdata.Applies{{Vehicle: r.ID}})
	}
	return Of(l, specdata.AppliesOf(r))
}

// OfProcedure returns what a procedure holds for as long as no side is chosen: both sides
// or either of them where it is for one at a time.
func OfProcedure(l library.Library, p *specdata.Procedure) For {
	f := Of(l, p.AppliesTo)
	switch {
	case ownSide(p.AppliesTo) != "":
	case p.Sides == "both":
		f.side = "both"
	case p.Sides == "one":
		f.side = eitherSide
	}
	return f
}

// OfVariant narrows OfProcedure to a variant, and to a side where one is given.
func OfVariant(l library.Library, p *specdata.Procedure, v dryrun.Variant, side string) For {
	f := OfProcedure(l, p).Variant(v.Vehicle, optionsOf(v))
	if side != "" {
		f.side = side
	}
	return f
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
