package web

import (
	"context"
	"net/http"
	"strings"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/document"
)

// edit shows the document of a record to be corrected, or an empty one for a new record.
func (p *Pages) edit(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	if _, ok := p.cleared(w, r, ctx, "Corrections/CreateCorrection"); !ok {
		return
	}
	name, err := ask.Name("record", r.URL.Query().Get("record"), "")
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	rev, _, err := p.catalog.Document(ctx, name, ask.Newest())
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	text, err := document.Format(rev.Document)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	c := &pb.Correction{Changes: []*pb.CorrectionChange{{Record: string(name), BaseRevision: rev.Number, Document: string(text)}}}
	p.showEdit(w, r, http.StatusOK, c, nil, newRequest(), "")
}

func (p *Pages) showEdit(w http.ResponseWriter, r *http.Request, status int, c, judged *pb.Correction, request, problem string) {
	change := c.Changes[0]
	page := map[string]any{"Title": "Correct " + change.Record, "Change": change, "C": c, "Judged": judged, "Problem": problem, "Request": request, "Notice": &pb.Notice{Caution: view.Caution}}
	a := about{For: []clause{{change.Record, "/" + change.Record}}}
	if d, _ := document.Read("document.yaml", []byte(change.Document)); d != nil {
		if f, ok := d.Record.(*specdata.Fastener); ok {
			page["Window"] = windowOf(f)
		}
	}
	p.show(w, r, status, "edit.html", a, page)
}

// propose judges what was written, and proposes it where that is asked for.
func (p *Pages) propose(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	if !p.form(w, r) {
		return
	}
	ctx, ok := p.cleared(w, r, ctx, "Corrections/CreateCorrection")
	if !ok {
		return
	}
	f := r.PostForm
	base, err := ask.Whole("base", f.Get("base"), 64)
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	c := &pb.Correction{
		Changes: []*pb.CorrectionChange{{Record: f.Get("record"), BaseRevision: base, Document: strings.ReplaceAll(f.Get("document"), "\r\n", "\n")}},
		Reason:  strings.TrimSpace(f.Get("reason")),
	}
	if e := strings.TrimSpace(f.Get("evidence")); e != "" {
		c.Evidence = []string{e}
	}
	check := f.Get("action") != "propose"
	in := &pb.CreateCorrectionRequest{Correction: c, ValidateOnly: check, RequestId: f.Get("request")}
	if check {
		in.RequestId = ""
		if c.Reason == "" {
			in.Correction = &pb.Correction{Changes: c.Changes, Evidence: c.Evidence, Reason: "being written"}
		}
	}
	out, err := p.corrections.CreateCorrection(ctx, in)
	if err != nil {
		e := fault.From(err)
		if e.Kind.Row().Status >= 500 {
			p.Fail(w, r, err)
			return
		}
		problem := sentence(e.Message)
		for _, v := range e.Violations {
			if v.Description != e.Message {
				problem += " " + v.Field + ": " + sentence(v.Description)
			}
		}
		p.showEdit(w, r, e.Kind.Row().Status, c, nil, f.Get("request"), problem)
		return
	}
	if check {
		p.showEdit(w, r, http.StatusOK, c, out, f.Get("request"), "")
		return
	}
	http.Redirect(w, r, "/"+out.Name, http.StatusSeeOther)
}

// decide approves, rejects, publishes or withdraws a correction, as the form says.
func (p *Pages) decide(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	if !p.form(w, r) {
		return
	}
	name, f := "corrections/"+r.PathValue("id"), r.PostForm
	request, comment, content, etag := f.Get("request"), strings.TrimSpace(f.Get("comment")), f.Get("content"), f.Get("etag")
	var method string
	var call func(context.Context) (*pb.Correction, error)
	switch f.Get("action") {
	case "approve":
		method, call = "ApproveCorrection", func(ctx context.Context) (*pb.Correction, error) {
			return p.corrections.ApproveCorrection(ctx, &pb.ApproveCorrectionRequest{Name: name, ContentHash: content, Comment: comment, RequestId: request})
		}
	case "reject":
		method, call = "RejectCorrection", func(ctx context.Context) (*pb.Correction, error) {
			return p.corrections.RejectCorrection(ctx, &pb.RejectCorrectionRequest{Name: name, ContentHash: content, Comment: comment, RequestId: request})
		}
	case "publish":
		method, call = "PublishCorrection", func(ctx context.Context) (*pb.Correction, error) {
			return p.corrections.PublishCorrection(ctx, &pb.PublishCorrectionRequest{Name: name, Etag: etag, RequestId: request})
		}
	case "withdraw":
		method, call = "WithdrawCorrection", func(ctx context.Context) (*pb.Correction, error) {
			return p.corrections.WithdrawCorrection(ctx, &pb.WithdrawCorrectionRequest{Name: name, Etag: etag, Comment: comment, RequestId: request})
		}
	default:
		p.Fail(w, r, fault.Field("action", "action %q does not exist; allowed: approve, reject, publish, withdraw", ask.Clip(f.Get("action"))))
		return
	}
	ctx, ok := p.cleared(w, r, ctx, "Corrections/"+method)
	if !ok {
		return
	}
	if _, err := call(ctx); err != nil {
		e := fault.From(err)
		if e.Kind.Row().Status >= 500 || e.Kind == fault.CorrectionNotFound {
			p.Fail(w, r, err)
			return
		}
		p.showCorrection(w, r, e.Kind.Row().Status, sentence(e.Message))
		return
	}
	http.Redirect(w, r, "/"+name, http.StatusSeeOther)
}

// newDocuments are the documents of records that a correction adds, as people read
// them: a reviewer of a new record sees every value of it.
func newDocuments(c *pb.Correction) map[string]string {
	out := map[string]string{}
	for _, r := range c.Records {
		if r.BaseRevision != 0 || r.Document == "" {
			continue
		}
		if text, err := document.Format([]byte(r.Document)); err == nil {
			out[r.Record] = string(text)
		}
	}
	return out
}
