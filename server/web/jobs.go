package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/view"
	"proofload/specdata"
)

// ServeGRPC sets where gRPC is, as the pages tell it, and whether it is encrypted.
func (p *Pages) ServeGRPC(address string, encrypted bool) { p.grpc, p.grpcTLS = address, encrypted }

// grpcAt returns where the reader of a page reaches gRPC: where it listens on every
// address, at the host that the page was asked of. "" where nobody said.
func (p *Pages) grpcAt(r *http.Request) string {
	host, port, err := net.SplitHostPort(p.grpc)
	if err != nil {
		return ""
	}
	if ip, err := netip.ParseAddr(host); err == nil && ip.IsUnspecified() {
		if host = r.Host; strings.Contains(host, ":") {
			if h, _, err := net.SplitHostPort(host); err == nil {
				host = h
			}
		}
	}
	return net.JoinHostPort(host, port)
}

// ServeJobs sets the service of open jobs.
func (p *Pages) ServeJobs(j pb.JobsServer) { p.jobs = j }

const jobRows = 50

func (p *Pages) listJobs(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	ctx, ok := p.cleared(w, r, ctx, "Jobs/ListJobs")
	if !ok {
		return
	}
	q := r.URL.Query()
	list, err := p.jobs.ListJobs(ctx, &pb.ListJobsRequest{PageSize: jobRows, PageToken: q.Get("page_token"), State: q.Get("state"), Record: q.Get("record")})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "jobs.html", everyVehicle(0), map[string]any{
		"Title": "Jobs", "Jobs": list.Jobs, "State": q.Get("state"), "States": []string{"open", "stopped", "closed"}, "Next": following(q, list.NextPageToken), "Notice": &pb.Notice{Caution: view.Caution},
	})
}

func (p *Pages) movedJobs(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	ctx, ok := p.cleared(w, r, ctx, "Jobs/ListMovedJobs")
	if !ok {
		return
	}
	q := r.URL.Query()
	list, err := p.jobs.ListMovedJobs(ctx, &pb.ListMovedJobsRequest{PageSize: 200, PageToken: q.Get("page_token"), Record: q.Get("record")})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "moved.html", everyVehicle(0), map[string]any{
		"Title": "Jobs whose values have changed since", "Moved": list.Moved, "Next": following(q, list.NextPageToken), "Request": newRequest(), "Notice": &pb.Notice{Caution: view.Caution},
	})
}

// newRequest is an id for an event that a form records once.
func newRequest() string {
	var b [16]byte
	rand.Read(b[:])
	return hex.EncodeToString(b[:])
}

// door asks what decides before a job is opened: a sheet's code or a procedure, then
// the vehicle.
func (p *Pages) door(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	if _, ok := p.cleared(w, r, ctx, "Jobs/CreateJob"); !ok {
		return
	}
	p.askAtDoor(ctx, w, r, http.StatusOK, r.URL.Query(), "")
}

func (p *Pages) askAtDoor(ctx context.Context, w http.ResponseWriter, r *http.Request, status int, q url.Values, problem string) {
	if code := strings.TrimSpace(q.Get("code")); code != "" && q.Get("procedure") == "" {
		switch c, _, err := p.checker(ctx, code); {
		case err != nil:
			problem = sentence(fault.From(err).Message)
		case c.State != "current":
			problem = "This sheet is " + c.State + ". Open the job from what holds now: " + c.Title + "."
			q.Set("procedure", strings.TrimPrefix(c.Procedure, "procedures/"))
		default:
			q.Set("procedure", strings.TrimPrefix(c.Procedure, "procedures/"))
			q.Set("vehicle", c.VehicleId)
			if c.Side != "both" {
				q.Set("side", c.Side)
			}
			// The options chose the sheet. The build is left to whoever stands at the vehicle:
			// the sheet is for a range of them.
			for _, o := range c.Options {
				if key, value, ok := strings.Cut(o, "="); ok {
					q.Set("option."+key, value)
				}
			}
		}
	}
	page := map[string]any{"Title": "Open a job", "Q": q, "Problem": problem, "Request": newRequest(), "Notice": &pb.Notice{Caution: view.Caution}}
	a := about{For: []clause{{Text: "the vehicle in front of you, once the questions are answered"}}}
	if id := strings.TrimPrefix(q.Get("procedure"), "procedures/"); id != "" {
		name, err := ask.Name("procedure", "procedures/"+id, specdata.KindProcedure)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		v, position, err := p.catalog.View(ctx, name, ask.Newest())
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		rec := v.Message.(*pb.Procedure)
		page["Procedure"], page["Vehicles"] = rec, p.vehiclesOf(ctx, rec.AppliesTo, rec.Runs)
		a = applies(rec.AppliesTo, rec.ForWhom, position, nil)
	}
	p.show(w, r, status, "door.html", a, page)
}

// doorVehicle is a vehicle that a procedure is for, with the questions that decide.
type doorVehicle struct {
	*pb.Vehicle
	// Keys are the options that a clause for it or a step asks about; Built says that one asks for
	// the build.
	Keys  []*pb.Option
	Built bool
}

func (p *Pages) vehiclesOf(ctx context.Context, as []*pb.Applies, runs []*pb.DryRun) []*doorVehicle {
	var out []*doorVehicle
	byID := map[string]*doorVehicle{}
	for _, a := range as {
		d := byID[a.Vehicle]
		if d == nil {
			v, _, err := p.catalog.View(ctx, specdata.NewName(specdata.KindVehicle, a.Vehicle), ask.Newest())
			if err != nil {
				continue // the service says what is wrong with it
			}
			d = &doorVehicle{Vehicle: v.Message.(*pb.Vehicle)}
			byID[a.Vehicle] = d
			out = append(out, d)
		}
		for _, o := range d.Options {
			decides := slices.ContainsFunc(a.Where, func(w *pb.Option) bool { return w.Key == o.Key }) ||
				slices.ContainsFunc(runs, func(r *pb.DryRun) bool {
					return r.Vehicle == a.Vehicle && slices.ContainsFunc(r.Options, func(x *pb.Option) bool { return x.Key == o.Key })
				})
			if decides && !slices.Contains(d.Keys, o) {
				d.Keys = append(d.Keys, o)
			}
		}
		d.Built = d.Built || a.Built != nil
	}
	return out
}

// openJob opens a job from the form of the door.
func (p *Pages) openJob(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	if !p.form(w, r) {
		return
	}
	ctx, ok := p.cleared(w, r, ctx, "Jobs/CreateJob")
	if !ok {
		return
	}
	f := r.PostForm
	in := &pb.Job{
		Procedure: "procedures/" + strings.TrimPrefix(f.Get("procedure"), "procedures/"), Vehicle: f.Get("vehicle"), Built: strings.TrimSpace(f.Get("built")), Side: f.Get("side"),
		Plate: strings.TrimSpace(f.Get("plate")), Vin: strings.ToUpper(strings.TrimSpace(f.Get("vin"))), Odometer: strings.TrimSpace(f.Get("odometer")), Order: strings.TrimSpace(f.Get("order")),
	}
	for key, values := range f {
		if name, ok := strings.CutPrefix(key, "option."); ok && values[0] != "" {
			in.Options = append(in.Options, name+"="+values[0])
		}
	}
	j, err := p.jobs.CreateJob(ctx, &pb.CreateJobRequest{Job: in, RequestId: f.Get("request")})
	if err != nil {
		e := fault.From(err)
		if e.Kind.Row().Status >= 500 {
			p.Fail(w, r, err)
			return
		}
		p.askAtDoor(r.Context(), w, r, e.Kind.Row().Status, f, sentence(e.Message))
		return
	}
	http.Redirect(w, r, "/"+j.Name, http.StatusSeeOther)
}

// bayStep is a step of a job with what the procedure says beside it.
type bayStep struct {
	*pb.JobStep
	Cautions   []*pb.Caution
	Fastenings []*pb.Fastening
	Criteria   []string
}

// bay is the page that people work with: a step a screen.
func (p *Pages) bay(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	ctx, ok := p.cleared(w, r, ctx, "Jobs/GetJob")
	if !ok {
		return
	}
	j, err := p.jobs.GetJob(ctx, &pb.GetJobRequest{Name: "jobs/" + r.PathValue("id")})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	p.showBay(ctx, w, r, http.StatusOK, j, "")
}

func (p *Pages) showBay(ctx context.Context, w http.ResponseWriter, r *http.Request, status int, j *pb.Job, problem string) {
	name := specdata.Name(j.Procedure)
	v, _, err := p.catalog.View(ctx, name, ask.Position(j.Position))
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	procedure := v.Message.(*pb.Procedure)
	byID := map[string]*pb.Step{}
	for _, s := range procedure.Steps {
		byID[s.Id] = s
	}
	steps := make([]*bayStep, len(j.Steps))
	for i, s := range j.Steps {
		steps[i] = &bayStep{JobStep: s}
		if of := byID[s.Step]; of != nil {
			steps[i].Cautions, steps[i].Fastenings, steps[i].Criteria = of.Cautions, of.Fastenings, of.Criteria
		}
	}
	moved, err := p.jobs.ListMovedJobs(ctx, &pb.ListMovedJobsRequest{PageSize: 1, Record: "vehicles/" + j.Vehicle})
	own := []*pb.MovedJob{}
	if err == nil {
		for _, m := range moved.Moved {
			if m.Job == j.Name {
				own = append(own, m)
			}
		}
	}
	p.show(w, r, status, "bay.html", about{For: []clause{{Text: j.ForWhom.GetText()}}, Not: j.ForWhom.GetNotText(), When: "made to the library at position " + strconv.FormatInt(j.Position, 10)}, map[string]any{
		"Title": j.Title, "Job": j, "Steps": steps, "Procedure": procedure, "Problem": problem, "Notice": j.Notice, "Moved": own, "Request": newRequest,
	})
}

var bareNumber = regexp.MustCompile(`^[0-9]+([.,][0-9]+)?$`)

// withUnit reads a value as people type it: a bare number gets the unit, a comma is a point.
func withUnit(value, unit string) string {
	value = strings.TrimSpace(value)
	if bareNumber.MatchString(value) && unit != "" {
		return strings.ReplaceAll(value, ",", ".") + " " + unit
	}
	return value
}

// recordJob records the event of a form; the page's script sends the same to the service
// itself, where it runs.
func (p *Pages) recordJob(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	if !p.form(w, r) {
		return
	}
	ctx, ok := p.cleared(w, r, ctx, "Jobs/RecordJob")
	if !ok {
		return
	}
	f := r.PostForm
	number := func(key string) int32 {
		n, err := strconv.ParseInt(f.Get(key), 10, 32)
		if err != nil {
			return 0
		}
		return int32(n)
	}
	e := &pb.JobEvent{
		RequestId: f.Get("request"), Kind: f.Get("kind"), Step: number("step"), Fastener: f.Get("fastener"), Piece: number("piece"), Clicked: f.Get("clicked") != "",
		Text: strings.TrimSpace(f.Get("text")), Wrench: strings.TrimSpace(f.Get("wrench")), CalibratedUntil: f.Get("until"), Thing: f.Get("thing"), Confirmed: f["confirmed"], NewPiece: strings.TrimSpace(f.Get("new_piece")),
	}
	if !e.Clicked {
		e.Value = withUnit(f.Get("value"), f.Get("unit"))
	}
	out, err := p.jobs.RecordJob(ctx, &pb.RecordJobRequest{Name: "jobs/" + r.PathValue("id"), Events: []*pb.JobEvent{e}})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	if refused := out.Events[0].Refused; refused != "" {
		p.showBay(ctx, w, r, http.StatusConflict, out.Job, "Not taken: "+refused+".")
		return
	}
	to := "/" + out.Job.Name
	switch e.Kind {
	case "stopped":
		to += "/tag"
	case "ticked", "skipped":
		if out.Job.Next > 0 {
			to += "#step-" + strconv.Itoa(int(out.Job.Next))
		}
	default:
		if e.Step > 0 {
			to += "#step-" + strconv.Itoa(int(e.Step))
		}
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// tag is what hangs on the steering wheel of a vehicle that work has stopped on.
func (p *Pages) tag(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	ctx, ok := p.cleared(w, r, ctx, "Jobs/GetJob")
	if !ok {
		return
	}
	j, err := p.jobs.GetJob(ctx, &pb.GetJobRequest{Name: "jobs/" + r.PathValue("id")})
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	p.show(w, r, http.StatusOK, "tag.html", about{For: []clause{{Text: j.ForWhom.GetText()}}, Not: j.ForWhom.GetNotText(), When: "made to the library at position " + strconv.FormatInt(j.Position, 10)}, map[string]any{
		"Title": j.Tag.GetVerdict(), "Job": j, "Notice": j.Notice,
	})
}

// calendar is what is due after a job, for a calendar program.
func (p *Pages) calendar(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	if _, ok := p.cleared(w, r, ctx, "Jobs/GetJob"); !ok {
		return
	}
	body, err := p.dates(ctx, r.PathValue("id"))
	if err != nil {
		p.Fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="job.ics"`)
	w.Write(body)
}

// ServeDates sets what writes the dates of a job as iCalendar.
func (p *Pages) ServeDates(dates func(ctx context.Context, id string) ([]byte, error)) {
	p.dates = dates
}

// script answers one of the scripts of the pages.
func (p *Pages) script(name string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		body, err := files.ReadFile("pages/" + name)
		if err != nil {
			p.Fail(w, r, err)
			return
		}
		w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
		w.Header().Set("Cache-Control", "private, no-cache")
		w.Header().Set("Content-Security-Policy", policy)
		w.Write(body)
	}
}
