package web

import (
	"context"
	"maps"
	"net/http"
	"strconv"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/store"
	"proofload/specdata"
)

// present shows a procedure to a presenter, one step at a time and large: its sentence,
// its values, its cautions, and what comes next. The address holds the step, so that
// turning pages needs no script.
func (p *Pages) present(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	q := r.URL.Query()
	name, err := ask.Name("id", "procedures/"+r.PathValue("id"), specdata.KindProcedure)
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
	asked := maps.Clone(q)
	asked.Del("step")
	fit, err := p.fits(ctx, asked, kept.Entry.Record, position)
	if err != nil {
		p.refused(w, r, kept.Entry.Record, position, o, err)
		return
	}
	rec := v.Message.(*pb.Procedure)
	n, err := ask.Whole("step", q.Get("step"), 32)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	page := map[string]any{"Title": rec.Title, "Record": rec, "Notice": rec.Notice, "Steps": len(rec.Steps), "Link": linksOf(asked, only(specdata.AppliesOf(kept.Entry.Record)), o)}
	if len(rec.Steps) > 0 {
		at := int(min(max(n, 1), int64(len(rec.Steps))))
		page["Number"], page["Step"] = at, rec.Steps[at-1]
		turn := func(to int) string {
			next := maps.Clone(asked)
			next.Set("step", strconv.Itoa(to))
			if o != nil {
				next.Set("at", "position:"+o.Position)
			}
			return "?" + next.Encode()
		}
		if at > 1 {
			page["Back"] = turn(at - 1)
		}
		if at < len(rec.Steps) {
			page["Forward"], page["Then"] = turn(at+1), rec.Steps[at]
		}
	}
	a := applies(rec.AppliesTo, rec.ForWhom, position, o)
	a.sides(rec.Sides, fit.Side)
	a.Yours = fit.Yours
	p.show(w, r, http.StatusOK, "present.html", a, page)
}
