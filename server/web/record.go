package web

import (
	"context"
	"fmt"
	"html/template"
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
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
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
	m.At = store.AtPosition(position) // everything on the page is of one state
	o, err := p.oldRecord(ctx, name, v, position)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	page := map[string]any{"Place": q.Get("place"), "Host": r.Host}
	status := http.StatusOK
	known, chosen := asked(v.Message.(*pb.Vehicle), q)
	said := known // what the page is for
	if err := p.table(ctx, page, name, known, q, m); err != nil {
		e := fault.From(err)
		if e.Kind != fault.InvalidArgument {
			p.Fail(w, r, err)
			return
		}
		// What was typed is wrong: the form stays, with what is wrong on top of it.
		status = e.Kind.Row().Status
		page["Problem"] = sentence(e.Message)
		switch e.Metadata["field"] { // it is for nothing that was refused
		case "built":
			said.Built = ""
			page["Problem"] = "That build date cannot be used: " + e.Message + "."
		case "side":
			said.Side = ""
		default:
			said = whom.Stated{}
		}
	}
	link := linksOf(q, name.ID(), o)
	page["Link"] = link
	for key, kind := range map[string]specdata.Kind{"Procedures": specdata.KindProcedure, "Assemblies": specdata.KindAssembly} {
		views, next, _, err := p.catalog.List(ctx, store.Query{Kind: kind, Vehicle: name.ID()}, ask.Page{Size: listed}, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		its, not, err := p.stand(ctx, views, name, known, link, position)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		page[key], page["Not"+key], page["More"+key] = its, not, next != ""
	}
	vehicle := v.Message.(*pb.Vehicle)
	page["Title"], page["Vehicle"], page["Notice"], page["Known"], page["Chosen"] = vehicle.Title, vehicle, vehicle.Notice, known, chosen
	p.show(w, r, status, "vehicle.html", about{For: []clause{{Text: variantText(vehicle, said)}}, Position: position, Old: o}, page)
}

// asked reads what the form says of the vehicle: to the catalog, and by option.
func asked(v *pb.Vehicle, q url.Values) (whom.Stated, map[string]string) {
	known := askedOf(q).Stated
	chosen := map[string]string{}
	for _, o := range v.Options {
		if value := q.Get(o.Key); value != "" {
			chosen[o.Key] = value
		}
	}
	return known, chosen
}

// stand tells the records of a vehicle that are for what is known of it, or may be, from
// those that are not.
func (p *Pages) stand(ctx context.Context, views []*view.View, vehicle specdata.Name, known whom.Stated, link linker, position int64) (its, not []standing, err error) {
	s := p.catalog.Follower.At(ctx, position)
	v := library.Vehicle(s, vehicle.ID())
	if v == nil {
		return nil, nil, s.Err()
	}
	known.Side = "" // a job on one side is not another job on the other
	facts, wrong := known.Check(v)
	if wrong != nil {
		facts = whom.Facts{Vehicle: v} // the page says what is wrong
	}
	for _, x := range views {
		var as []*pb.Applies
		var one standing
		var name specdata.Name
		switch m := x.Message.(type) {
		case *pb.Procedure:
			one, as, name = standing{Title: m.Title, Link: link.ToProcedure(m.Name, m.Sides)}, m.AppliesTo, specdata.Name(m.Name)
		case *pb.Assembly:
			one, as, name = standing{Title: m.Title, Link: link.To(m.Name)}, m.AppliesTo, specdata.Name(m.Name)
		}
		var texts []string
		for _, a := range as {
			texts = append(texts, a.Text)
		}
		one.For = strings.Join(texts, "; ")
		e := s.Get(name)
		if e == nil {
			return nil, nil, s.Err()
		}
		clauses := slices.Clone(specdata.AppliesOf(e.Record))
		for i := range clauses {
			clauses[i].Side = ""
		}
		switch st := facts.Record(clauses); {
		case !st.May():
			one.Link = template.URL("/" + string(name))
			not = append(not, one)
		default:
			one.Open = !st.Applies()
			its = append(its, one)
		}
	}
	return its, not, s.Err()
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
		m.At = store.AtPosition(position)
		kept, _, err := p.catalog.Record(ctx, name, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		fit, err := p.fits(ctx, r.URL.Query(), kept.Entry.Record, position)
		if err != nil {
			p.refused(w, r, kept.Entry.Record, position, o, err)
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
		link := linksOf(r.URL.Query(), only(specdata.AppliesOf(kept.Entry.Record)), o)
		page := map[string]any{"Record": v.Message, "Uses": usedBy(uses, link), "Revisions": revs, "Host": r.Host, "Name": string(name), "Link": link}
		a := about{For: []clause{{Text: "whatever cites this source"}}, Position: position, Old: o}
		switch rec := v.Message.(type) {
		case *pb.Fastener:
			page["Title"], page["Notice"] = rec.Title, rec.Notice
			page["Window"] = windowOf(kept.Entry.Record.(*specdata.Fastener))
			a = applies(rec.AppliesTo, rec.ForWhom, position, o)
		case *pb.Assembly:
			page["Title"], page["Notice"] = rec.Title, rec.Notice
			as := kept.Entry.Record.(*specdata.Assembly)
			page["Order"], page["Titles"] = orderOf(as), titlesOf(p.catalog.Follower.At(ctx, position), as)
			a = applies(rec.AppliesTo, rec.ForWhom, position, o)
		case *pb.Procedure:
			page["Title"], page["Notice"] = rec.Title, rec.Notice
			pr := kept.Entry.Record.(*specdata.Procedure)
			page["Sheets"], page["Runs"], page["Side"] = sheets(pr, rec, fit, o), runsOf(rec, fit), fit.Side
			page["LayOut"] = layOut(p.catalog.Follower.At(ctx, position), pr, fit.Variants)
			a = applies(rec.AppliesTo, rec.ForWhom, position, o)
			a.sides(rec.Sides, fit.Side)
		case *pb.Source:
			page["Title"], page["Notice"] = rec.Title, rec.Notice
		}
		a.Yours = fit.Yours
		p.show(w, r, http.StatusOK, string(kind)+".html", a, page)
	}
}

// only returns the vehicle that a record is for, "" where it is for several.
func only(as []specdata.Applies) string {
	for _, a := range as {
		if a.Vehicle != as[0].Vehicle {
			return ""
		}
	}
	if len(as) == 0 {
		return ""
	}
	return as[0].Vehicle
}

// titlesOf returns the titles of the parts of an assembly and of what holds them, by id.
func titlesOf(l library.Library, a *specdata.Assembly) map[string]string {
	out := map[string]string{}
	for _, p := range a.Parts {
		out[p.ID] = p.Title
	}
	for _, p := range a.Parts {
		for _, id := range p.HeldBy {
			if f := library.Fastener(l, id); f != nil {
				out[id] = f.Title
			}
		}
	}
	return out
}

// user is a record that uses the one shown.
type user struct {
	Title, Name string
	Link        template.URL
}

func usedBy(uses []catalog.Use, link linker) []user {
	var out []user
	for _, u := range uses {
		to := user{u.Record.Header().Title, string(u.Record.Name()), link.To(string(u.Record.Name()))}
		if p, ok := u.Record.(*specdata.Procedure); ok {
			to.Link = link.ToProcedure(to.Name, p.Sides)
		}
		out = append(out, to)
	}
	return out
}

// sheetFor is a variant and side that a procedure's sheet is printed for, and the
// query that asks for it.
type sheetFor struct {
	Text  string
	Query template.URL // encoded, so that the template does not encode it again
}

// sheets lists the sheets that can be printed of a procedure: one for each variant
// and side it is for, never one for all, and only those of what is known of the vehicle.
func sheets(p *specdata.Procedure, rec *pb.Procedure, fit answer, o *old) []sheetFor {
	sides := []string{""}
	switch {
	case fit.Side == "left" || fit.Side == "right":
		sides = []string{fit.Side}
	case p.Sides == "one":
		sides = []string{"left", "right"}
	}
	var out []sheetFor
	for _, run := range runsOf(rec, fit) {
		for _, side := range sides {
			said := whom.Say(p, variantOf(run))
			q := url.Values{"vehicle": {said.Vehicle}}
			for _, option := range said.Stated.Options {
				q.Add("options", option)
			}
			if said.Stated.Built != "" {
				q.Set("built", said.Stated.Built)
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

// layOut lists what is laid out for the variants that are left of a procedure, all where
// none was chosen.
func layOut(l library.Library, p *specdata.Procedure, vs []dryrun.Variant) []string {
	if vs == nil {
		vs = dryrun.Variants(l, p)
	}
	set := dryrun.SetUpOf(l, p, vs)
	var lines []string
	add := func(line string, where map[string][]string) {
		if only := wording.OnlyWith(where); only != "" {
			line += " (" + only + ")"
		}
		lines = append(lines, line)
	}
	for _, t := range set.Tools {
		add(wording.Tool(&t.Thing), t.Where)
	}
	for _, n := range set.Parts {
		add("new: "+wording.NewPart(&n.Thing), n.Where)
	}
	for _, c := range set.Consumables {
		add(wording.Consumable(&c.Thing), c.Where)
	}
	return lines
}

func variantOf(run *pb.DryRun) dryrun.Variant {
	v := dryrun.Variant{Vehicle: run.Vehicle}
	for _, o := range run.Options {
		v.Options = append(v.Options, dryrun.Option{Key: o.Key, Value: o.Values[0]})
	}
	return v
}

// runsOf returns the runs of the variants that are left of a procedure.
func runsOf(rec *pb.Procedure, fit answer) []*pb.DryRun {
	if fit.Variants == nil {
		return rec.Runs
	}
	var out []*pb.DryRun
	for _, run := range rec.Runs {
		if v := variantOf(run).String(); slices.ContainsFunc(fit.Variants, func(x dryrun.Variant) bool { return x.String() == v }) {
			out = append(out, run)
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
			v, _, err := p.catalog.View(ctx, f.Name, ask.Moment{At: store.AtPosition(position)})
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
