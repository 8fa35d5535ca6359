package web

import (
	"context"
	"net/http"
	"slices"
	"strconv"

	pb "proofload/api/proofload/v1"
	"proofload/server/catalog"
	"proofload/server/store"
	"proofload/specdata"
)

func kindQuery(k specdata.Kind) store.Query { return store.Query{Kind: k} }

// pageRows is how many rows of a torque table stand on one page.
const pageRows = 500

func (p *Pages) vehicle(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	q := r.URL.Query()
	m, err := catalog.ParseMoment(q.Get("at"), 0)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	name, err := catalog.ParseName("id", "vehicles/"+r.PathValue("id"), specdata.KindVehicle)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	v, position, err := p.catalog.View(ctx, name, m)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	vehicle := v.Message.(*pb.Vehicle)
	known := catalog.Known{Built: q.Get("built"), Side: q.Get("side")}
	chosen := map[string]string{}
	for _, o := range vehicle.Options {
		if value := q.Get(o.Key); value != "" {
			known.Options = append(known.Options, o.Key+"="+value)
			chosen[o.Key] = value
		}
	}
	m.At = store.At{Position: position} // the table is of the very state the vehicle was read at
	t, err := p.catalog.Table(ctx, name, q.Get("place"), known, catalog.Page{Size: pageRows, Token: q.Get("page_token")}, m)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	type place struct {
		Name string
		Rows []*pb.Fastener
	}
	var places []place
	for _, f := range t.Fasteners {
		f := f.Message.(*pb.Fastener)
		if n := len(places); n == 0 || places[n-1].Name != f.Place {
			places = append(places, place{Name: f.Place})
		}
		last := &places[len(places)-1]
		last.Rows = append(last.Rows, f)
	}
	next := ""
	if t.Next != "" { // the token belongs to this very filter
		q.Set("page_token", t.Next)
		next = "?" + q.Encode()
	}
	p.show(w, r, http.StatusOK, "vehicle.html", map[string]any{
		"Title": vehicle.Title, "Vehicle": vehicle, "Places": places, "Undecided": t.Undecided, "Chosen": chosen,
		"Known": known, "Place": q.Get("place"), "Notice": vehicle.Notice, "Next": next, "Position": strconv.FormatInt(t.Position, 10), "Host": r.Host,
	})
}

// record shows one record of a kind other than a vehicle, and what uses it.
func (p *Pages) record(kind specdata.Kind) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), deadline)
		defer cancel()
		m, err := catalog.ParseMoment(r.URL.Query().Get("at"), 0)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		name, err := catalog.ParseName("id", kind.Collection()+"/"+r.PathValue("id"), kind)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		v, position, err := p.catalog.View(ctx, name, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		m.At = store.At{Position: position}
		uses, _, _, err := p.catalog.Uses(ctx, name, catalog.Page{Size: 100}, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		revs, _, _, err := p.catalog.Revisions(ctx, name, catalog.Page{Size: 20}, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		data := map[string]any{"Record": v.Message, "Uses": uses, "Revisions": revs, "Position": strconv.FormatInt(position, 10), "Host": r.Host, "Name": string(name)}
		switch rec := v.Message.(type) {
		case *pb.Fastener:
			data["Title"], data["Notice"] = rec.Title, rec.Notice
			data["Final"] = finalTorque(rec)
		case *pb.Assembly:
			data["Title"], data["Notice"] = rec.Title, rec.Notice
		case *pb.Procedure:
			data["Title"], data["Notice"] = rec.Title, rec.Notice
		case *pb.Source:
			data["Title"], data["Notice"] = rec.Title, rec.Notice
		}
		p.show(w, r, http.StatusOK, string(kind)+".html", data)
	}
}

// finalTorque is the torque a fastener is left with, for the largest digits of the page.
func finalTorque(f *pb.Fastener) *pb.Torque {
	for _, s := range slices.Backward(f.GetTightening().GetStages()) {
		if s.Torque != nil {
			return s.Torque
		}
	}
	return nil
}

func (p *Pages) search(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	words := r.URL.Query().Get("query")
	var hits []store.Hit
	if words != "" {
		var err error
		if hits, _, _, err = p.catalog.Search(ctx, words, "", catalog.Page{Size: 100}, catalog.Moment{}); err != nil {
			p.Fail(w, r, err)
			return
		}
	}
	p.show(w, r, http.StatusOK, "search.html", map[string]any{"Title": "Search", "Words": words, "Hits": hits})
}
