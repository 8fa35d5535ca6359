package rpc

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/server/job"
	"proofload/server/notary"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/demo"
)

// Jobs implements the Jobs service: it says who asks and turns messages; the room of
// jobs decides.
type Jobs struct {
	pb.UnimplementedJobsServer
	jobs    *job.Jobs
	catalog *catalog.Catalog
	notary  *notary.Notary
}

// jobsCollection is the collection of jobs in resource names.
const jobsCollection = "jobs/"

// maxJobs is the most jobs that one page gives.
const maxJobs = store.MaxLimit - 1

// CreateJob implements pb.JobsServer; so do the methods below.
func (j *Jobs) CreateJob(ctx context.Context, r *pb.CreateJobRequest) (*pb.Job, error) {
	t, err := access.Cleared(ctx)
	if err != nil {
		return nil, err
	}
	in := r.GetJob()
	if in.GetProcedure() == "" {
		return nil, fault.Field("job.procedure", "procedure is missing; name one, like procedures/quill-1-rear-hub-bearing")
	}
	if in.Name != "" || in.State != "" || len(in.Steps) > 0 || len(in.Events) > 0 {
		return nil, fault.Field("job.name", "a new job has no name, state, steps or events; leave them out")
	}
	request, err := requestID(ctx, r.RequestId)
	if err != nil {
		return nil, err
	}
	o := job.Opening{
		Procedure: in.Procedure, Vehicle: strings.TrimPrefix(in.Vehicle, "vehicles/"), Options: in.Options, Built: in.Built, Side: in.Side,
		Plate: in.Plate, VIN: in.Vin, Odometer: in.Odometer, Order: in.Order, By: t.Person, Request: request,
	}
	o.Moment = ask.Newest()
	if in.Position != 0 {
		o.Moment = ask.Position(in.Position)
	}
	s, err := j.jobs.Open(ctx, o)
	if err != nil {
		return nil, err
	}
	return j.message(ctx, s)
}

// GetJob returns a job as it is.
func (j *Jobs) GetJob(ctx context.Context, r *pb.GetJobRequest) (*pb.Job, error) {
	s, err := j.jobs.Get(ctx, strings.TrimPrefix(r.Name, jobsCollection))
	if err != nil {
		return nil, err
	}
	return j.message(ctx, s)
}

// ListJobs returns jobs, the newest first.
func (j *Jobs) ListJobs(ctx context.Context, r *pb.ListJobsRequest) (*pb.ListJobsResponse, error) {
	size, after, token, err := j.page(fmt.Sprintf("jobs %q %q", r.State, r.Record), r.PageSize, r.PageToken)
	if err != nil {
		return nil, err
	}
	list, next, err := j.jobs.List(ctx, r.State, r.Record, size, after)
	if err != nil {
		return nil, err
	}
	out := &pb.ListJobsResponse{NextPageToken: token(next)}
	for _, l := range list {
		m := &pb.Job{Name: jobsCollection + l.ID, Procedure: l.Procedure, Vehicle: l.Vehicle, Position: l.Position, State: l.Stands}
		if v, _, err := j.catalog.Record(ctx, specdata.Name(l.Procedure), ask.Position(l.Position)); err == nil {
			m.Title = v.Entry.Record.Header().Title
		}
		out.Jobs = append(out.Jobs, m)
	}
	return out, nil
}

// page reads the page wanted of a listing of jobs, and returns how to write the token of the next.
func (j *Jobs) page(query string, size int32, token string) (limit int, after string, next func(id string) string, err error) {
	if limit, err = (ask.Page{Size: size}).Limit(maxJobs); err != nil {
		return 0, "", nil, err
	}
	if token != "" {
		c, err := j.catalog.Pages.Cursor(query, token)
		if err != nil {
			return 0, "", nil, err
		}
		after = c.After
	}
	return limit, after, func(id string) string {
		if id == "" {
			return ""
		}
		return j.catalog.Pages.Token(query, ask.Cursor{After: id})
	}, nil
}

// RecordJob records events.
func (j *Jobs) RecordJob(ctx context.Context, r *pb.RecordJobRequest) (*pb.RecordJobResponse, error) {
	t, err := access.Cleared(ctx)
	if err != nil {
		return nil, err
	}
	records := make([]job.Record, len(r.Events))
	for i, e := range r.Events {
		records[i] = job.Record{
			Request: e.RequestId, Kind: job.Kind(e.Kind), Step: int(e.Step), Fastener: e.Fastener, Piece: int(e.Piece), Value: e.Value, Clicked: e.Clicked,
			Text: e.Text, Wrench: e.Wrench, Until: e.CalibratedUntil, Photo: e.PhotoHash, Thing: e.Thing, Confirmed: e.Confirmed, NewPiece: e.NewPiece,
		}
		if e.DoneTime != nil {
			if records[i].Done = e.DoneTime.AsTime(); records[i].Done.IsZero() {
				records[i].Done = records[i].Done.Add(1) // said, so that it is refused and not taken for none
			}
		}
	}
	s, answers, err := j.jobs.Record(ctx, strings.TrimPrefix(r.Name, jobsCollection), t.Person, records)
	if err != nil {
		return nil, err
	}
	out := &pb.RecordJobResponse{}
	for i, a := range answers {
		if a.Refused != nil {
			out.Events = append(out.Events, &pb.JobEvent{RequestId: records[i].Request, Kind: string(records[i].Kind), Step: int32(records[i].Step), Refused: a.Refused.Message})
			continue
		}
		out.Events = append(out.Events, jobEvent(a.Event))
	}
	if out.Job, err = j.message(ctx, s); err != nil {
		return nil, err
	}
	return out, nil
}

// EraseJob erases what is kept apart.
func (j *Jobs) EraseJob(ctx context.Context, r *pb.EraseJobRequest) (*pb.Job, error) {
	t, err := access.Cleared(ctx)
	if err != nil {
		return nil, err
	}
	s, err := j.jobs.Erase(ctx, strings.TrimPrefix(r.Name, jobsCollection), t.Person, r.What)
	if err != nil {
		return nil, err
	}
	return j.message(ctx, s)
}

// GetJobExport returns the file of a job.
func (j *Jobs) GetJobExport(ctx context.Context, r *pb.GetJobExportRequest) (*pb.JobExport, error) {
	id, err := ask.ID("name", r.Name, "jobs", "/export")
	if err != nil {
		return nil, err
	}
	x, err := j.jobs.Export(ctx, id)
	if err != nil {
		return nil, err
	}
	signed, err := j.notary.Vouch(x.Statement())
	if err != nil {
		return nil, err
	}
	out := &pb.JobExport{Name: r.Name, Root: x.Root, Leaves: x.Leaves, SignedRoot: string(signed)}
	for _, t := range x.Texts {
		out.Texts = append(out.Texts, &pb.JobText{Key: t.Key, What: t.What, Salt: t.Salt, Text: t.Text})
	}
	return out, nil
}

// ListMovedJobs returns what was made to a value that moved.
func (j *Jobs) ListMovedJobs(ctx context.Context, r *pb.ListMovedJobsRequest) (*pb.ListMovedJobsResponse, error) {
	size, after, token, err := j.page(fmt.Sprintf("moved jobs %q", r.Record), r.PageSize, r.PageToken)
	if err != nil {
		return nil, err
	}
	moved, next, err := j.jobs.Moved(ctx, r.Record, size, after)
	if err != nil {
		return nil, err
	}
	out := &pb.ListMovedJobsResponse{NextPageToken: token(next)}
	for i := range moved {
		m := &moved[i]
		one := &pb.MovedJob{Job: jobsCollection + m.Job, Fastener: m.Fastener, Title: m.Title, Pieces: int32(m.Pieces), Was: m.Was, Now: m.Now, How: m.How(), Safety: m.Safety, Thing: m.Thing, ForWhom: view.ForWhom(m.For)}
		for _, e := range m.Answers {
			one.Answers = append(one.Answers, jobEvent(e))
		}
		out.Moved = append(out.Moved, one)
	}
	return out, nil
}

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func jobEvent(e *job.Event) *pb.JobEvent {
	return &pb.JobEvent{
		RequestId: e.Request, Kind: string(e.Kind), Step: int32(e.Step), Fastener: e.Fastener, Piece: int32(e.Piece), Value: e.Value, Clicked: e.Clicked, Text: e.Words,
		Wrench: e.Wrench, CalibratedUntil: e.Until, PhotoHash: e.Photo, Thing: e.Thing, Confirmed: e.Confirmed, DoneTime: stamp(e.Done),
		Number: e.Number, By: e.Person, Time: stamp(e.Time), Forbade: e.Forbade, NewPiece: e.Fitted,
	}
}

// message turns a job into its message.
func (j *Jobs) message(ctx context.Context, s *job.State) (*pb.Job, error) {
	text := s.Whom.Text()
	out := &pb.Job{
		Name: jobsCollection + s.ID, Procedure: s.Start.Procedure, Vehicle: s.Start.Vehicle, Options: s.Start.Options, Built: s.Start.Built, Side: s.Start.Side, Position: s.Start.Position,
		Plate: s.Plate, Vin: s.VIN, Odometer: s.Odometer, Order: s.Start.Order, State: s.Stands(), Title: s.Procedure.Title,
		ForWhom: &pb.ForWhom{Text: text, NotText: s.Whom.Not()}, VehicleText: s.Around, Next: int32(s.Next), Root: s.Root(), Notice: &pb.Notice{Caution: view.Caution},
	}
	if v, _, err := j.catalog.View(ctx, s.Procedure.Name(), ask.Position(s.Start.Position)); err == nil && view.Demo(v.Message) {
		out.Notice.Demo, out.Notice.DemoText = true, demo.Notice
	}
	for _, st := range s.Steps {
		out.Steps = append(out.Steps, jobStep(st))
	}
	for _, t := range s.Open {
		out.Open = append(out.Open, &pb.JobThing{Id: t.ID, Text: t.Text, Mend: t.Mend, FollowUp: t.FollowUp, Answerable: t.Answerable(), Renew: t.Renew})
	}
	for _, o := range s.Answered() {
		a := &pb.JobAnswer{Id: o.ID, Text: o.Text, NewPiece: o.End.Fitted, Reason: o.End.Words, By: o.End.Person, Time: stamp(o.End.Time)}
		if a.NewPiece == "" && a.Reason == "" {
			a.Reason = o.How()
		}
		out.Answered = append(out.Answered, a)
	}
	for _, w := range s.Wrenches {
		out.Wrenches = append(out.Wrenches, &pb.JobWrench{Number: w.Wrench, CalibratedUntil: w.Until})
	}
	for _, f := range s.FollowUps {
		m := &pb.JobFollowUp{Id: f.ID, Text: f.Text, Guessed: f.Guessed, Done: f.Done != nil}
		if !f.Due.IsZero() {
			m.Due = f.Due.UTC().Format(time.DateOnly)
		}
		if f.Done != nil {
			m.Answer, m.By = f.Done.Words, f.Done.Person
		}
		out.FollowUps = append(out.FollowUps, m)
	}
	for _, e := range s.Events {
		out.Events = append(out.Events, jobEvent(e))
	}
	tag := s.Tag()
	out.Tag = &pb.JobTag{Verdict: tag.Verdict, Unfit: tag.Unfit, Next: tag.Next, LeftBy: tag.LeftBy, LeftTime: stamp(tag.LeftAt), Why: tag.Why}
	return out, nil
}

// was returns values that were replaced, in words.
func was(events []*job.Event) []string {
	var out []string
	for _, e := range events {
		if e.Clicked {
			out = append(out, "clicked")
			continue
		}
		out = append(out, e.Value)
	}
	return out
}

func jobStep(st *job.Step) *pb.JobStep {
	m := &pb.JobStep{Number: int32(st.Number), Step: st.Step.ID, Side: st.Side, Reading: st.Reading}
	switch {
	case st.Ticked != nil:
		m.Ticked, m.By, m.Time, m.Forbade = true, st.Ticked.Person, stamp(st.Ticked.Time), st.Ticked.Forbade
		if st.Ticked.Override {
			m.Reason = st.Ticked.Words
		}
	case st.Skipped != nil:
		m.Skipped, m.By, m.Time = st.Skipped.Words, st.Skipped.Person, stamp(st.Skipped.Time)
	}
	for i := range st.Joints {
		x := &st.Joints[i]
		one := &pb.JobJoint{Fastener: string(x.Fastener.Name()), Title: x.Fastener.Title, Value: x.Value, Accept: x.Accept, StageText: x.StageText, Stages: view.Stages(x.Fastener, x.Stages)}
		for _, p := range x.Pieces {
			piece := &pb.JobPiece{Number: int32(p.Number), Outside: p.Outside, Was: was(p.Was)}
			if p.Event != nil {
				piece.Entered, piece.Value, piece.By = true, p.Event.Value, p.Event.Person
			}
			one.Pieces = append(one.Pieces, piece)
		}
		m.Joints = append(m.Joints, one)
	}
	for i := range st.Limits {
		l := &st.Limits[i]
		unit := l.Operation.Low.Unit()
		if l.Operation.Low.IsZero() {
			unit = l.Operation.High.Unit()
		}
		one := &pb.JobLimit{Number: int32(l.Number), Text: l.Text, Outside: l.Outside, Unit: unit.Symbol, Was: was(l.Was)}
		if l.Event != nil {
			one.Value = l.Event.Value
		}
		m.Limits = append(m.Limits, one)
	}
	return m
}
