package web

import (
	"context"
	"fmt"
	"html/template"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/whom"
)

func kindQuery(k specdata.Kind) store.Query { return store.Query{Kind: k} }

// pageRows is how many rows of a torque table stand on one page, listed is how many
// procedures or assemblies of a vehicle, and how many hits of a search.
const (
	pageRows = 500
	listed   = 100
)

// place is a place of a vehicle with its rows of the torque table.
type place struct {
	Name string
	Rows []*pb.Fastener
}

// byPlace groups the rows of a table, which come in order of place.
func byPlace(t *catalog.Table) []place {
	var places []place
	for _, f := range t.Fasteners {
		f := f.Message.(*pb.Fastener)
		if n := len(places); n == 0 || places[n-1].Name != f.Place {
			places = append(places, place{Name: f.Place})
		}
		last := &places[len(places)-1]
		last.Rows = append(last.Rows, f)
	}
	return places
}

// vehicle shows a vehicle: its procedures, its places and its torque table, for what
// is known of the vehicle in front of the reader.
func (p *Pages) vehicle(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	q := r.URL.Query()
	name, err := ask.Name("id", "vehicles/"+r.PathValue("id"), specdata.KindVehicle)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	m, err := ask.When("at", q.Get("at"), 0)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	v, position, err := p.catalog.View(ctx, name, m)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	m.At = store.At{Position: position} // everything on the page is of one state
	o, err := p.oldRecord(ctx, name, v, position)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	page := map[string]any{"Place": q.Get("place"), "Host": r.Host}
	status := http.StatusOK
	known, chosen := asked(v.Message.(*pb.Vehicle), q)
	if err := p.table(ctx, page, name, known, q, m); err != nil {
		e := fault.From(err)
		if e.Kind != fault.InvalidArgument {
			p.Fail(w, r, err)
			return
		}
		// What was typed is wrong: the form stays, with what is wrong on top of it.
		status = e.Kind.Row().Status
		page["Problem"] = sentence(e.Message)
		if e.Metadata["field"] == "built" {
			page["Problem"] = "That build date cannot be used: " + e.Message + "."
		}
	}
	for key, kind := range map[string]specdata.Kind{"Procedures": specdata.KindProcedure, "Assemblies": specdata.KindAssembly} {
		views, next, _, err := p.catalog.List(ctx, store.Query{Kind: kind, Vehicle: name.ID()}, ask.Page{Size: listed}, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		page[key], page["More"+key] = views, next != ""
	}
	vehicle := v.Message.(*pb.Vehicle)
	page["Title"], page["Vehicle"], page["Notice"], page["Known"], page["Chosen"] = vehicle.Title, vehicle, vehicle.Notice, known, chosen
	p.show(w, r, status, "vehicle.html", about{For: []clause{{Text: variantText(vehicle, known)}}, Position: position, Old: o}, page)
}

// asked reads what the form says of the vehicle: to the catalog, and by option.
func asked(v *pb.Vehicle, q url.Values) (whom.Stated, map[string]string) {
	known := whom.Stated{Built: strings.TrimSpace(q.Get("built")), Side: q.Get("side")}
	chosen := map[string]string{}
	for _, o := range v.Options {
		if value := q.Get(o.Key); value != "" {
			known.Options = append(known.Options, o.Key+"="+value)
			chosen[o.Key] = value
		}
	}
	return known, chosen
}

// variantText returns the variant that a torque table is for, and what is not known of it.
func variantText(v *pb.Vehicle, k whom.Stated) string {
	words := []string{v.Title}
	given := map[string]bool{}
	for _, o := range k.Options {
		key, value, _ := strings.Cut(o, "=")
		given[key] = true
		words = append(words, strings.ReplaceAll(key, "_", " ")+" "+value)
	}
	if k.Built != "" {
		words = append(words, "built "+k.Built)
	}
	if k.Side != "" {
		words = append(words, k.Side+" side")
	}
	var unknown []string
	for _, o := range v.Options {
		if !given[o.Key] {
			unknown = append(unknown, strings.ReplaceAll(o.Key, "_", " "))
		}
	}
	if k.Built == "" {
		unknown = append(unknown, "build date")
	}
	text := strings.Join(words, ", ")
	if len(unknown) > 0 {
		text += "; not yet known: " + strings.Join(unknown, ", ")
	}
	return text
}

// table adds the rows of a torque table to a page, and every place of the vehicle.
func (p *Pages) table(ctx context.Context, page map[string]any, name specdata.Name, known whom.Stated, q url.Values, m ask.Moment) error {
	t, err := p.catalog.Table(ctx, name, q.Get("place"), known, ask.Page{Size: pageRows, Token: q.Get("page_token")}, m)
	if err != nil {
		return err
	}
	places := byPlace(t)
	all := places
	if q.Get("place") != "" {
		whole, err := p.catalog.Table(ctx, name, "", known, ask.Page{Size: pageRows}, m)
		if err != nil {
			return err
		}
		all = byPlace(whole)
		if len(places) == 0 {
			page["Problem"] = fmt.Sprintf("No place here is called %q. Choose one of the places below.", q.Get("place"))
		}
	}
	page["Places"], page["AllPlaces"], page["Undecided"], page["Next"] = places, all, t.Undecided, following(q, t.Next)
	keep := url.Values{}
	for key, values := range q {
		if key != "place" && key != "page_token" {
			keep[key] = values
		}
	}
	page["Filter"] = template.URL(keep.Encode()) // encoded already
	return nil
}

// record shows one record of a kind other than a vehicle, and what uses it.
func (p *Pages) record(kind specdata.Kind) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), deadline)
		defer cancel()
		m, err := ask.When("at", r.URL.Query().Get("at"), 0)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		name, err := ask.Name("id", kind.Collection()+"/"+r.PathValue("id"), kind)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		v, position, err := p.catalog.View(ctx, name, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		o, err := p.oldRecord(ctx, name, v, position)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		m.At = store.At{Position: position}
		kept, _, err := p.catalog.Record(ctx, name, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		if err := p.fits(ctx, r.URL.Query(), kept.Entry.Record, position); err != nil {
			p.Fail(w, r, err)
			return
		}
		uses, _, _, err := p.catalog.Uses(ctx, name, ask.Page{Size: listed}, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		revs, _, _, err := p.catalog.Revisions(ctx, name, ask.Page{Size: 20}, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		page := map[string]any{"Record": v.Message, "Uses": uses, "Revisions": revs, "Host": r.Host, "Name": string(name)}
		a := about{For: []clause{{Text: "whatever cites this source"}}, Position: position, Old: o}
		switch rec := v.Message.(type) {
		case *pb.Fastener:
			page["Title"], page["Notice"] = rec.Title, rec.Notice
			page["Window"] = windowOf(kept.Entry.Record.(*specdata.Fastener))
			a = applies(rec.AppliesTo, rec.ForWhom, position, o)
		case *pb.Assembly:
			page["Title"], page["Notice"] = rec.Title, rec.Notice
			page["Order"] = orderOf(kept.Entry.Record.(*specdata.Assembly))
			a = applies(rec.AppliesTo, rec.ForWhom, position, o)
		case *pb.Procedure:
			page["Title"], page["Notice"] = rec.Title, rec.Notice
			page["Sheets"] = sheets(rec, o)
			a = applies(rec.AppliesTo, rec.ForWhom, position, o)
		case *pb.Source:
			page["Title"], page["Notice"] = rec.Title, rec.Notice
		}
		p.show(w, r, http.StatusOK, string(kind)+".html", a, page)
	}
}

// fits refuses a record that is not for the vehicle that the address names: what is not
// at or a field of whom.Asked is an option of the vehicle, as on the vehicle's own page.
func (p *Pages) fits(ctx context.Context, q url.Values, r specdata.Record, position int64) error {
	var asked whom.Asked
	for _, key := range slices.Sorted(maps.Keys(q)) {
		switch value := q.Get(key); key {
		case "at":
		case "vehicle":
			asked.Vehicle = value
		case "vin":
			asked.VIN = value
		case "built":
			asked.Stated.Built = value
		case "side":
			asked.Stated.Side = value
		case "options":
			asked.Stated.Options = append(asked.Stated.Options, q[key]...)
		default:
			asked.Stated.Options = append(asked.Stated.Options, key+"="+value)
		}
	}
	if asked.Vehicle == "" && asked.VIN == "" && asked.Stated.Built == "" && asked.Stated.Side == "" && len(asked.Stated.Options) == 0 {
		return nil
	}
	s := p.catalog.Follower.At(ctx, position)
	var err error
	switch r := r.(type) {
	case *specdata.Procedure:
		_, err = whom.Pick(s, r, asked)
	case *specdata.Fastener:
		_, _, err = whom.Fits(s, r.Name(), r.AppliesTo, asked)
	case *specdata.Assembly:
		_, _, err = whom.Fits(s, r.Name(), r.AppliesTo, asked)
	default:
		return nil
	}
	if broken := s.Err(); broken != nil {
		return broken
	}
	return catalog.Refused(err)
}

// sheetFor is a variant and side that a procedure's sheet is printed for, and the
// query that asks for it.
type sheetFor struct {
	Text  string
	Query template.URL // encoded, so that the template does not encode it again
}

// sheets lists the sheets that can be printed of a procedure: one for each variant
// and side it is for, never one for all.
func sheets(p *pb.Procedure, o *old) []sheetFor {
	sides := []string{""}
	if p.Sides == "one" {
		sides = []string{"left", "right"}
	}
	var out []sheetFor
	for _, run := range p.Runs {
		for _, side := range sides {
			q := url.Values{"vehicle": {run.Vehicle}}
			for _, option := range run.Options {
				q.Add("options", option.Key+"="+option.Values[0])
			}
			text := run.Text
			if side != "" {
				q.Set("side", side)
				text += ", " + side + " side"
			}
			if o != nil {
				q.Set("at", "position:"+o.Position)
			}
			out = append(out, sheetFor{text, template.URL(q.Encode())})
		}
	}
	return out
}

// hit is one answer of a search, with what a reader chooses by.
type hit struct {
	Name, Title, Place, Value string
	Kind                      specdata.Kind
	For                       []string
}

func (p *Pages) search(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	words := r.URL.Query().Get("query")
	var hits []hit
	var unknown []catalog.Unknown
	position, err := p.catalog.Position(ctx, ask.Newest())
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	if words != "" {
		found, err := p.catalog.Search(ctx, words, "", ask.Page{Size: listed}, ask.Newest())
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		unknown = found.Unknown
		for _, f := range found.Hits {
			v, _, err := p.catalog.View(ctx, f.Name, ask.Moment{At: store.At{Position: position}})
			if err != nil {
				p.Fail(w, r, err)
				return
			}
			hits = append(hits, hitOf(f.Hit, v))
		}
	}
	p.show(w, r, http.StatusOK, "search.html", everyVehicle(position), map[string]any{"Title": "Search", "Words": words, "Hits": hits, "Unknown": unknown, "Notice": &pb.Notice{Caution: view.Caution}})
}

// hitOf adds vehicle and value to a hit.
func hitOf(f store.Hit, v *view.View) hit {
	h := hit{Name: string(f.Name), Title: f.Title, Place: f.Place, Kind: f.Name.Kind()}
	var as []*pb.Applies
	switch m := v.Message.(type) {
	case *pb.Fastener:
		h.Value, as = m.Summary, m.AppliesTo
	case *pb.Assembly:
		as = m.AppliesTo
	case *pb.Procedure:
		as = m.AppliesTo
	}
	for _, a := range as {
		h.For = append(h.For, a.Text)
	}
	return h
}
