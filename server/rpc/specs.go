package rpc

import (
	"context"
	"log/slog"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/meter"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/whom"
)

// Specs implements the Specs service. The messages it returns are shared with the
// cache: callers in process do not change them.
type Specs struct {
	pb.UnimplementedSpecsServer
	epoch   store.Epoch
	catalog *catalog.Catalog
	door    door
	reads   *desk.Reads
	meter   *meter.Meter
	log     *slog.Logger
}

// Read returns the view of a record at a moment and the position it answers for. It
// is the one way to read a record, on every wire; the errors are those of the
// catalog's View.
func (s *Specs) Read(ctx context.Context, name specdata.Name, m ask.Moment) (*view.View, int64, error) {
	v, position, err := s.catalog.View(ctx, name, m)
	if err != nil {
		return nil, 0, err
	}
	noteRead(s.reads, access.Caller(ctx), v)
	return v, position, nil
}

// Ready is Read of the newest state where that is kept ready, which is what nearly
// every caller asks for. The name need not be valid. A transport calls it before all
// else and goes on with Read where ok is false.
func (s *Specs) Ready(ctx context.Context, caller *access.Token, name string) (v *view.View, position int64, ok bool) {
	if v, position, ok = s.catalog.Hot(ctx, specdata.Name(name)); ok {
		noteRead(s.reads, caller, v)
	}
	return v, position, ok
}

// listRequest is what the requests of listings have in common.
type listRequest interface {
	GetPageSize() int32
	GetPageToken() string
	GetAt() string
	GetMinPosition() int64
}

func list[M proto.Message](ctx context.Context, s *Specs, q store.Query, r listRequest) ([]M, string, error) {
	m, err := moment(r)
	if err != nil {
		return nil, "", err
	}
	views, next, position, err := s.catalog.List(ctx, q, ask.Page{Size: r.GetPageSize(), Token: r.GetPageToken()}, m)
	if err != nil {
		return nil, "", err
	}
	noteRead(s.reads, access.Caller(ctx), views...)
	return messages[M](views), next, tell(ctx, position)
}

func messages[M proto.Message](views []*view.View) []M {
	out := make([]M, len(views))
	for i, v := range views {
		out[i] = v.Message.(M)
	}
	return out
}

func (s *Specs) ListVehicles(ctx context.Context, r *pb.ListVehiclesRequest) (*pb.ListVehiclesResponse, error) {
	out, next, err := list[*pb.Vehicle](ctx, s, store.Query{Kind: specdata.KindVehicle, Source: r.Source}, r)
	if err != nil {
		return nil, err
	}
	return &pb.ListVehiclesResponse{Vehicles: out, NextPageToken: next}, nil
}

func (s *Specs) ListFasteners(ctx context.Context, r *pb.ListFastenersRequest) (*pb.ListFastenersResponse, error) {
	q := store.Query{Kind: specdata.KindFastener, Source: r.Source, Vehicle: r.Vehicle, Place: r.Place, Thread: r.Thread, Joint: r.Joint}
	out, next, err := list[*pb.Fastener](ctx, s, q, r)
	if err != nil {
		return nil, err
	}
	return &pb.ListFastenersResponse{Fasteners: out, NextPageToken: next}, nil
}

func (s *Specs) ListAssemblies(ctx context.Context, r *pb.ListAssembliesRequest) (*pb.ListAssembliesResponse, error) {
	q := store.Query{Kind: specdata.KindAssembly, Source: r.Source, Vehicle: r.Vehicle, Place: r.Place}
	out, next, err := list[*pb.Assembly](ctx, s, q, r)
	if err != nil {
		return nil, err
	}
	return &pb.ListAssembliesResponse{Assemblies: out, NextPageToken: next}, nil
}

func (s *Specs) ListProcedures(ctx context.Context, r *pb.ListProceduresRequest) (*pb.ListProceduresResponse, error) {
	out, next, err := list[*pb.Procedure](ctx, s, store.Query{Kind: specdata.KindProcedure, Source: r.Source, Vehicle: r.Vehicle}, r)
	if err != nil {
		return nil, err
	}
	return &pb.ListProceduresResponse{Procedures: out, NextPageToken: next}, nil
}

func (s *Specs) ListSources(ctx context.Context, r *pb.ListSourcesRequest) (*pb.ListSourcesResponse, error) {
	out, next, err := list[*pb.Source](ctx, s, store.Query{Kind: specdata.KindSource}, r)
	if err != nil {
		return nil, err
	}
	return &pb.ListSourcesResponse{Sources: out, NextPageToken: next}, nil
}

func (s *Specs) ListVehicleFasteners(ctx context.Context, r *pb.ListVehicleFastenersRequest) (*pb.ListVehicleFastenersResponse, error) {
	vehicle, err := ask.Name("parent", r.Parent, specdata.KindVehicle)
	if err != nil {
		return nil, err
	}
	m, err := moment(r)
	if err != nil {
		return nil, err
	}
	known := whom.Stated{Options: r.Options, Built: r.Built, Side: r.Side}
	t, err := s.catalog.Table(ctx, vehicle, r.Place, known, ask.Page{Size: r.PageSize, Token: r.PageToken}, m)
	if err != nil {
		return nil, err
	}
	noteRead(s.reads, access.Caller(ctx), t.Fasteners...)
	out := &pb.ListVehicleFastenersResponse{Fasteners: messages[*pb.Fastener](t.Fasteners), NextPageToken: t.Next, Undecided: questions(t.Undecided), Places: t.Places, ForWhom: view.ForWhom(t.For)}
	return out, tell(ctx, t.Position)
}

func questions(qs []whom.Question) []*pb.Question {
	var out []*pb.Question
	for _, q := range qs {
		out = append(out, &pb.Question{Key: q.Key, Allowed: q.Allowed, Text: q.Text})
	}
	return out
}

func (s *Specs) ResolveFastener(ctx context.Context, r *pb.ResolveFastenerRequest) (*pb.ResolveFastenerResponse, error) {
	m, err := moment(r)
	if err != nil {
		return nil, err
	}
	res, err := s.catalog.Resolve(ctx, catalog.Wanted{
		Vehicle: r.Vehicle, VIN: r.Vin, Place: r.Place, Title: r.Title, Thread: r.Thread,
		Stated: whom.Stated{Options: r.Options, Built: r.Built, Side: r.Side},
	}, m)
	if err != nil {
		return nil, err
	}
	out := &pb.ResolveFastenerResponse{Outcome: res.Outcome, Questions: questions(res.Questions), Vehicle: res.Vehicle, ForWhom: view.ForWhom(res.For), CandidatesLeftOut: int32(res.LeftOut)}
	if res.Fastener != nil {
		noteRead(s.reads, access.Caller(ctx), res.Fastener)
		out.Fastener = res.Fastener.Message.(*pb.Fastener)
	}
	for _, c := range res.Candidates {
		candidate := &pb.Candidate{Name: string(c.Fastener.Name()), Title: c.Fastener.Title, Place: c.Fastener.Place, Differs: c.Differs}
		for i := range c.Fastener.AppliesTo {
			if a := c.Fastener.AppliesTo[i]; a.Vehicle == res.Vehicle {
				if candidate.Applies != "" {
					candidate.Applies += "; or "
				}
				candidate.Applies += a.String()
			}
		}
		out.Candidates = append(out.Candidates, candidate)
	}
	return out, tell(ctx, res.Position)
}

func (s *Specs) GetDocument(ctx context.Context, r *pb.GetDocumentRequest) (*pb.Document, error) {
	name, err := ask.Name("name", r.Name, "")
	if err != nil {
		return nil, err
	}
	m, err := moment(r)
	if err != nil {
		return nil, err
	}
	rev, position, err := s.catalog.Document(ctx, name, m)
	if err != nil {
		return nil, err
	}
	out := &pb.Document{Name: string(name), Canonical: rev.Document, Hash: rev.Hash, Revision: rev.Number, Withdrawn: rev.Withdrawn}
	return out, tell(ctx, position)
}

func (s *Specs) ListRevisions(ctx context.Context, r *pb.ListRevisionsRequest) (*pb.ListRevisionsResponse, error) {
	name, err := ask.Name("parent", r.Parent, "")
	if err != nil {
		return nil, err
	}
	m, err := moment(r)
	if err != nil {
		return nil, err
	}
	revs, next, position, err := s.catalog.Revisions(ctx, name, ask.Page{Size: r.PageSize, Token: r.PageToken}, m)
	if err != nil {
		return nil, err
	}
	out := &pb.ListRevisionsResponse{NextPageToken: next}
	for _, rev := range revs {
		out.Revisions = append(out.Revisions, revision(rev))
	}
	return out, tell(ctx, position)
}

func revision(r *store.Revision) *pb.Revision {
	return &pb.Revision{
		Name: string(r.Name) + "/revisions/" + itoa(r.Number), Number: r.Number, Position: r.Position, DocumentHash: r.Hash,
		Withdrawn: r.Withdrawn, Authors: r.Authors, Reviewer: r.Reviewer, Reason: r.Reason, CreateTime: timestamppb.New(r.Time),
	}
}

func (s *Specs) ListUses(ctx context.Context, r *pb.ListUsesRequest) (*pb.ListUsesResponse, error) {
	name, err := ask.Name("parent", r.Parent, "")
	if err != nil {
		return nil, err
	}
	m, err := moment(r)
	if err != nil {
		return nil, err
	}
	uses, next, position, err := s.catalog.Uses(ctx, name, ask.Page{Size: r.PageSize, Token: r.PageToken}, m)
	if err != nil {
		return nil, err
	}
	out := &pb.ListUsesResponse{NextPageToken: next}
	for _, u := range uses {
		out.Uses = append(out.Uses, &pb.Use{Name: string(u.Record.Name()), Title: u.Record.Header().Title, Pointers: u.Pointers})
	}
	return out, tell(ctx, position)
}

func (s *Specs) Search(ctx context.Context, r *pb.SearchRequest) (*pb.SearchResponse, error) {
	m, err := ask.When("at", "", r.MinPosition)
	if err != nil {
		return nil, err
	}
	found, err := s.catalog.Search(ctx, r.Query, specdata.Kind(r.Kind), ask.Page{Size: r.PageSize, Token: r.PageToken}, m)
	if err != nil {
		return nil, err
	}
	out := &pb.SearchResponse{NextPageToken: found.Next}
	for _, h := range found.Hits {
		out.Results = append(out.Results, &pb.SearchResult{Name: string(h.Name), Title: h.Title, Place: h.Place, Vehicles: h.Vehicles, Value: h.Value, ForWhom: view.ForWhom(h.For)})
	}
	for _, u := range found.Unknown {
		out.Unknown = append(out.Unknown, &pb.UnknownWord{Word: u.Word, Near: u.Near})
	}
	return out, tell(ctx, found.Position)
}
