package web

import (
	"cmp"
	"context"
	"errors"
	"html/template"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	pb "proofload/api/proofload/v1"
	"proofload/server/catalog"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/whom"
)

// aside are the keys of an address that say nothing of a vehicle.
var aside = []string{"at", "place", "page_token", "step"}

// askedOf reads what an address says of the vehicle in front of the reader. What is
// neither aside nor a field of whom.Asked is an option of the vehicle, so that a key that
// is none is refused and not overlooked.
func askedOf(q url.Values) whom.Asked {
	var a whom.Asked
	for _, key := range slices.Sorted(maps.Keys(q)) {
		switch value := strings.TrimSpace(q.Get(key)); {
		case slices.Contains(aside, key), value == "": // a field of a form that was left open
		case key == "vehicle":
			a.Vehicle = value
		case key == "vin":
			a.VIN = value
		case key == "built":
			a.Stated.Built = value
		case key == "side":
			a.Stated.Side = value
		case key == "options":
			a.Stated.Options = append(a.Stated.Options, q[key]...)
		default:
			a.Stated.Options = append(a.Stated.Options, key+"="+value)
		}
	}
	return a
}

// linker makes the links of a page. They carry what its address says of the vehicle and of
// the moment, so that nobody who chose a variant is shown another one a page later.
type linker struct {
	said url.Values
	at   string
}

// linksOf returns the links of a page with an address, about a vehicle where one is said.
func linksOf(q url.Values, vehicle string, o *old) linker {
	a := askedOf(q)
	l := linker{said: url.Values{}}
	for _, option := range a.Stated.Options {
		if key, value, ok := strings.Cut(option, "="); ok {
			l.said.Set(key, value)
		}
	}
	set := func(key, value string) {
		if value != "" {
			l.said.Set(key, value)
		}
	}
	set("built", a.Stated.Built)
	set("side", a.Stated.Side)
	set("vin", a.VIN)
	if a.Vehicle != "" {
		vehicle = a.Vehicle
	}
	if len(l.said) > 0 || a.Vehicle != "" { // a vehicle alone would ask what nobody wanted to know
		set("vehicle", vehicle)
	}
	if o != nil {
		l.at = "position:" + o.Position
	}
	return l
}

// To returns the address of a record.
func (l linker) To(name string) template.URL { return l.to("/"+name, name, nil) }

// ToProcedure returns the address of a procedure, which takes a side only where it is done on one.
func (l linker) ToProcedure(name, sides string) template.URL {
	return l.to("/"+name, name, func(q url.Values) {
		if sides != "one" {
			q.Del("side")
		}
	})
}

// Page returns another address about the same vehicle: "/jobs/new".
func (l linker) Page(path string, more ...string) template.URL {
	return l.to(path, "", func(q url.Values) {
		for i := 0; i+1 < len(more); i += 2 {
			q.Set(more[i], more[i+1])
		}
	})
}

func (l linker) to(path, name string, with func(url.Values)) template.URL {
	q := maps.Clone(l.said)
	if strings.HasPrefix(name, specdata.KindSource.Collection()+"/") {
		clear(q) // a source is of no vehicle
	}
	if strings.HasPrefix(name, specdata.KindVehicle.Collection()+"/") {
		q.Del("vehicle")
	}
	if l.at != "" {
		q.Set("at", l.at)
	}
	if with != nil {
		with(q)
	}
	if len(q) > 0 {
		path += "?" + q.Encode()
	}
	return template.URL(path) // encoded already
}

// answer is what a record is for the vehicle that an address names.
type answer struct {
	// Yours words what is said of the vehicle, "" where nothing is.
	Yours string
	// Variants are those of a procedure that are left, Side the side that was chosen.
	Variants []dryrun.Variant
	Side     string
}

// fits refuses a record that is not for the vehicle that an address names, and one of
// which that is not known yet. The errors are those of whom.
func (p *Pages) fits(ctx context.Context, q url.Values, r specdata.Record, position int64) (answer, error) {
	asked := askedOf(q)
	a := answer{}
	if _, ok := r.(*specdata.Source); ok || asked.Nothing() {
		return a, nil
	}
	s := p.catalog.Follower.At(ctx, position)
	var err error
	if proc, ok := r.(*specdata.Procedure); ok {
		if asked.Stated.Side != "" {
			a.Side, err = whom.SideOf(s, proc, asked.Stated.Side)
			asked.Stated.Side = ""
		}
		if err == nil && !asked.Nothing() {
			a.Variants, err = whom.Pick(s, proc, asked)
		}
	} else {
		_, _, err = whom.Fits(s, r.Name(), specdata.AppliesOf(r), asked)
	}
	if broken := s.Err(); broken != nil {
		return a, broken
	}
	if err == nil && !asked.Nothing() {
		a.Yours = whom.Words(s, r, asked)
	}
	return a, err
}

// question is something that a page asks before it shows a record.
type question struct {
	Key, Text string
	Allowed   []string
}

// refused answers for an address that a record does not fit: with the questions that
// decide, as a form, or with why it is not for the vehicle.
func (p *Pages) refused(w http.ResponseWriter, r *http.Request, rec specdata.Record, position int64, o *old, err error) {
	var open *whom.Undecided
	if !errors.As(err, &open) {
		p.Fail(w, r, catalog.Refused(err))
		return
	}
	var ask []question
	for _, x := range open.Questions {
		ask = append(ask, question{x.Key, x.Text, x.Allowed})
	}
	keep := maps.Clone(r.URL.Query())
	for _, x := range ask {
		keep.Del(x.Key)
	}
	s := p.catalog.Follower.At(r.Context(), position)
	f := whom.Of(s, specdata.AppliesOf(rec))
	if pr, ok := rec.(*specdata.Procedure); ok {
		f = whom.OfProcedure(s, pr)
	}
	p.show(w, r, http.StatusOK, "ask.html", about{For: []clause{{Text: f.Text()}}, Not: f.Not(), Position: position, Old: o}, map[string]any{
		"Title": rec.Header().Title, "Built": whom.BuildExample(library.Vehicle(s, cmp.Or(askedOf(keep).Vehicle, only(specdata.AppliesOf(rec))))), "Questions": ask, "Keep": keep, "Notice": &pb.Notice{Caution: view.Caution},
	})
}

// standing is how a record in a list stands to the vehicle that a page is about.
type standing struct {
	Title, For string
	Link       template.URL
	// Open says that it is not known yet whether it is for the vehicle.
	Open bool
}
