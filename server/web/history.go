package web

import (
	"context"
	"net/http"
	"net/url"
	"strconv"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
)

// historyRows is how many revisions, releases or differences stand on one page.
const historyRows = 50

// past is one revision of a record and what moved with it.
type past struct {
	*store.Revision
	Difference *catalog.Difference
}

// history shows a record's revisions, the newest first, with what moved between them.
func (p *Pages) history(kind specdata.Kind) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), deadline)
		defer cancel()
		q := r.URL.Query()
		m, err := ask.When("at", q.Get("at"), 0)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		name, err := ask.Name("id", kind.Collection()+"/"+r.PathValue("id"), kind)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		revs, next, position, err := p.catalog.Revisions(ctx, name, ask.Page{Size: historyRows, Token: q.Get("page_token")}, m)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		rows := make([]past, len(revs))
		title := string(name)
		for i, rev := range revs {
			d, err := p.catalog.Changed(ctx, rev)
			if err != nil {
				p.Fail(w, r, err)
				return
			}
			if rows[i] = (past{rev, d}); i == 0 && d.Title != "" {
				title = d.Title
			}
		}
		p.show(w, r, http.StatusOK, "history.html", about{For: []clause{{title + ", every revision up to this moment", "/" + string(name)}}, Position: position}, map[string]any{
			"Title": "History: " + title, "Name": string(name), "Rows": rows, "Next": following(q, next), "Position": strconv.FormatInt(position, 10), "Host": r.Host, "Caution": view.Caution,
		})
	}
}

// releases shows the named moments and asks which to compare.
func (p *Pages) releases(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	q := r.URL.Query()
	all, next, err := p.catalog.Releases(ctx, ask.Page{Size: historyRows, Token: q.Get("page_token")})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	position, err := p.catalog.Position(ctx, ask.Newest())
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "releases.html", everyVehicle(position), map[string]any{"Title": "Releases", "Releases": all, "Next": following(q, next), "Host": r.Host, "Caution": view.Caution})
}

// diff shows what differs between two moments.
func (p *Pages) diff(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	q := r.URL.Query()
	if q.Get("from") == "" {
		http.Redirect(w, r, "/releases", http.StatusSeeOther)
		return
	}
	from, err := ask.When("from", q.Get("from"), 0)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	to, err := ask.When("to", q.Get("to"), 0)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	d, err := p.catalog.Diff(ctx, from, to, nil, ask.Page{Size: historyRows, Token: q.Get("page_token")})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "diff.html", everyVehicle(d.To), map[string]any{
		"Title": "What differs", "Diff": d, "From": from.String(), "To": to.String(), "Next": following(q, d.Next), "Position": strconv.FormatInt(d.To, 10), "Host": r.Host, "Caution": view.Caution,
		"Query": url.Values{"from": {q.Get("from")}, "to": {q.Get("to")}}.Encode(),
	})
}

// following is the address of the next page, "" where there is none.
func following(q url.Values, token string) string {
	if token == "" {
		return ""
	}
	q.Set("page_token", token)
	return "?" + q.Encode()
}
