package rpc

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/spoken"
	"proofload/server/store"
	"proofload/specdata/narration"
)

// Narrations implements the Narrations service.
type Narrations struct {
	pb.UnimplementedNarrationsServer
	spoken  *spoken.Spoken
	desk    *desk.Desk
	catalog *catalog.Catalog
}

// narrationsCollection is the collection of narrations in resource names.
const narrationsCollection = "narrations/"

// CheckNarration implements pb.NarrationsServer; so do the methods below.
func (n *Narrations) CheckNarration(ctx context.Context, r *pb.CheckNarrationRequest) (*pb.CheckNarrationResponse, error) {
	m, err := ask.When("at", r.At, r.MinPosition)
	if err != nil {
		return nil, err
	}
	report, err := n.spoken.Check(ctx, spoken.Request{
		Procedure: r.Procedure, File: r.File, Text: r.Text, Vehicle: r.Vehicle, Options: r.Options, Side: r.Side, Moment: m,
	})
	if err != nil {
		return nil, err
	}
	out := &pb.CheckNarrationResponse{Position: report.Position, Findings: narrationFindings(report.Findings)}
	for _, v := range report.Values {
		out.Values = append(out.Values, &pb.SpokenValue{Fastener: string(v.Fastener), Stage: int32(v.Stage), StartSeconds: v.Start, EndSeconds: v.End, Said: v.Said})
	}
	for _, s := range report.Steps {
		out.Steps = append(out.Steps, &pb.SpokenStep{Step: s.Step, StartSeconds: s.Start, EndSeconds: s.End})
	}
	if r.Tracks {
		out.Callouts = narration.Callouts(report.Checked, report.Library)
		out.Chapters = narration.Chapters(report.Checked, report.Procedure)
	}
	return out, nil
}

// CreateNarration checks a transcript and keeps a reference to it.
func (n *Narrations) CreateNarration(ctx context.Context, r *pb.CreateNarrationRequest) (*pb.Narration, error) {
	t, err := access.Cleared(ctx)
	if err != nil {
		return nil, err
	}
	in := r.GetNarration()
	if in.GetProcedure() == "" {
		return nil, fault.Field("narration.procedure", "procedure is missing; name one, like procedures/quill-1-rear-hub-bearing")
	}
	if in.Name != "" || len(in.Values) > 0 || len(in.Findings) > 0 {
		return nil, fault.Field("narration.name", "a new narration has no name, values or findings; leave them out")
	}
	request, err := requestID(ctx, r.RequestId)
	if err != nil {
		return nil, err
	}
	m := ask.Newest()
	if in.Position != 0 {
		m = ask.Position(in.Position)
	}
	kept, report, err := n.spoken.Keep(ctx, spoken.Request{
		Procedure: in.Procedure, File: in.File, Text: in.Text, Vehicle: in.Vehicle, Options: in.Options, Side: in.Side, Moment: m, Field: "narration.",
	}, in.Reference, t.Person, request)
	if err != nil {
		return nil, err
	}
	out := narrationMessage(kept)
	out.Findings = narrationFindings(report.Findings)
	return out, nil
}

// GetNarration returns a kept reference.
func (n *Narrations) GetNarration(ctx context.Context, r *pb.GetNarrationRequest) (*pb.Narration, error) {
	id, err := ask.ID("name", r.Name, "narrations", "")
	if err != nil {
		return nil, err
	}
	kept, err := n.desk.Narration(ctx, id)
	if err != nil {
		return nil, err
	}
	return narrationMessage(kept), nil
}

// ListNarrations returns kept references, the newest first.
func (n *Narrations) ListNarrations(ctx context.Context, r *pb.ListNarrationsRequest) (*pb.ListNarrationsResponse, error) {
	limit, err := (ask.Page{Size: r.PageSize}).Limit(store.MaxLimit - 1)
	if err != nil {
		return nil, err
	}
	query, after := fmt.Sprintf("narrations %q", r.Record), ""
	if r.PageToken != "" {
		c, err := n.catalog.Pages.Cursor(query, r.PageToken)
		if err != nil {
			return nil, err
		}
		after = c.After
	}
	list, next, err := n.desk.Narrations(ctx, r.Record, limit, after)
	if err != nil {
		return nil, err
	}
	out := &pb.ListNarrationsResponse{}
	for _, k := range list {
		out.Narrations = append(out.Narrations, narrationMessage(k))
	}
	if next != "" {
		out.NextPageToken = n.catalog.Pages.Token(query, ask.Cursor{After: next})
	}
	return out, nil
}

// RemoveNarration forgets a reference.
func (n *Narrations) RemoveNarration(ctx context.Context, r *pb.RemoveNarrationRequest) (*pb.Narration, error) {
	id, err := ask.ID("name", r.Name, "narrations", "")
	if err != nil {
		return nil, err
	}
	kept, err := n.desk.RemoveNarration(ctx, id)
	if err != nil {
		return nil, err
	}
	return narrationMessage(kept), nil
}

func narrationFindings(fs []narration.Finding) []*pb.NarrationFinding {
	var out []*pb.NarrationFinding
	for _, f := range fs {
		out = append(out, &pb.NarrationFinding{
			Kind: f.Kind, Severity: string(f.Severity), StartSeconds: f.Start, EndSeconds: f.End, Line: int32(f.Line), Said: f.Said,
			Record: string(f.Record), Step: f.Step, Message: f.Message,
		})
	}
	return out
}

func narrationMessage(n *desk.Narration) *pb.Narration {
	return &pb.Narration{
		Name: narrationsCollection + n.ID, Procedure: string(n.Procedure), Reference: n.Reference, File: n.File, Vehicle: n.Vehicle, Options: n.Options,
		Side: n.Side, Position: n.Position, Hash: n.Hash, Values: spokenValues(n.Values), ErrorCount: int32(n.Errors), WarningCount: int32(n.Warnings),
		KeptBy: n.By, CreateTime: timestamppb.New(n.Created),
	}
}

func spokenValues(vs []desk.SpokenValue) []*pb.SpokenValue {
	var out []*pb.SpokenValue
	for _, v := range vs {
		out = append(out, &pb.SpokenValue{Fastener: string(v.Fastener), Stage: int32(v.Stage), StartSeconds: v.Start, EndSeconds: v.End, Said: v.Said})
	}
	return out
}
