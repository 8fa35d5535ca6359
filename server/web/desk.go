package web

import (
	"context"
	"net/http"
	"slices"
	"strconv"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/view"
)

// ServeCorrections sets the service that the pages of the desk read from.
func (p *Pages) ServeCorrections(c pb.CorrectionsServer) { p.corrections = c }

// correctionsPage is how many corrections one page lists.
const correctionsPage = 50

func (p *Pages) listCorrections(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	q := r.URL.Query()
	state := q.Get("state")
	if !q.Has("state") {
		state = "open"
	}
	list, err := p.corrections.ListCorrections(ctx, &pb.ListCorrectionsRequest{PageSize: correctionsPage, PageToken: q.Get("page_token"), State: state, Record: q.Get("record")})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	next := ""
	if list.NextPageToken != "" {
		q.Set("page_token", list.NextPageToken)
		next = "?" + q.Encode()
	}
	p.show(w, r, http.StatusOK, "corrections.html", everyVehicle(0), map[string]any{
		"Title": "Corrections", "Corrections": list.Corrections, "State": state, "Record": q.Get("record"), "Next": next,
		"States": []string{"open", "approved", "published", "rejected", "withdrawn"},
		"Notice": &pb.Notice{Caution: view.Caution}, "Host": r.Host,
	})
}

func (p *Pages) correction(w http.ResponseWriter, r *http.Request) {
	p.showCorrection(w, r, http.StatusOK, "")
}

func (p *Pages) showCorrection(w http.ResponseWriter, r *http.Request, status int, problem string) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	name := "corrections/" + r.PathValue("id")
	c, err := p.corrections.GetCorrection(ctx, &pb.GetCorrectionRequest{Name: name})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	reach := c.Reach
	var moved *fault.Error // where the library moved on, there is no reach to show yet
	if reach == nil && (c.State == "open" || c.State == "approved") {
		if reach, err = p.corrections.GetCorrectionReach(ctx, &pb.GetCorrectionReachRequest{Name: name + "/reach"}); err != nil {
			moved = fault.From(err)
		}
	}
	p.show(w, r, status, "correction.html", p.aboutCorrection(ctx, c), map[string]any{
		"GRPC": p.grpcAt(r), "Plain": !p.grpcTLS,
		"Title": "Correction " + r.PathValue("id"), "C": c, "Problem": problem, "Request": newRequest(), "New": newDocuments(c), "Reach": reach, "Moved": moved, "Notice": &pb.Notice{Caution: view.Caution}, "Host": r.Host,
	})
}

// aboutCorrection says what the records of a correction hold for.
func (p *Pages) aboutCorrection(ctx context.Context, c *pb.Correction) about {
	a := about{Position: c.CheckedPosition, When: "as checked at position " + strconv.FormatInt(c.CheckedPosition, 10)}
	if c.Position > 0 {
		a.When = "published at position " + strconv.FormatInt(c.Position, 10)
	}
	if newest, err := p.catalog.Position(ctx, ask.Newest()); err == nil {
		a.Position = newest
		a.When += "; the library is at position " + strconv.FormatInt(newest, 10)
	}
	for _, r := range c.Records {
		one := clause{Text: r.Record}
		if r.ForWhom != nil {
			one.Text = r.ForWhom.Text
		}
		if !slices.Contains(a.For, one) {
			a.For = append(a.For, one)
		}
	}
	if len(c.Records) == 1 {
		a.Not = c.Records[0].GetForWhom().GetNotText()
	}
	return a
}
