package rpc

import (
	"context"
	"encoding/json"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/server/feed"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/change"
)

// History implements the History service.
type History struct {
	pb.UnimplementedHistoryServer
	catalog *catalog.Catalog
	feed    *feed.Feed
	// budgets count watches, events keeps what was encoded for several watchers.
	budgets *access.Budgets
	events  *events
	// slowAfter is SlowAfter, but for tests.
	slowAfter time.Duration
}

// ListLog implements pb.HistoryServer; so do the methods below.
func (h *History) ListLog(ctx context.Context, r *pb.ListLogRequest) (*pb.ListLogResponse, error) {
	m, err := moment(r)
	if err != nil {
		return nil, err
	}
	filter, err := feed.ParseFilter(r.Kinds, r.Names, r.Vehicle, r.Source)
	if err != nil {
		return nil, err
	}
	page, err := h.catalog.Log(ctx, catalog.LogQuery{After: r.After, Filter: filter}, ask.Page{Size: r.PageSize, Token: r.PageToken}, m)
	if err != nil {
		return nil, err
	}
	out := &pb.ListLogResponse{NextPageToken: page.Next, Position: page.Reached}
	if out.Entries, err = h.entries(ctx, page.Revisions, r.Documents, r.Moves); err != nil {
		return nil, err
	}
	return out, tell(ctx, page.Position)
}

// entries turns revisions into what a caller of the log asked for.
func (h *History) entries(ctx context.Context, revs []*store.Revision, documents, moves bool) ([]*pb.LogEntry, error) {
	out := make([]*pb.LogEntry, len(revs))
	for i, r := range revs {
		var head struct{ Title string }
		if err := json.Unmarshal(r.Document, &head); err != nil {
			return nil, fault.New(fault.StoreCorrupt, "document of %s cannot be read", r.Name).Because(err)
		}
		e := &pb.LogEntry{
			Name: string(r.Name), Title: head.Title, Revision: r.Number, Position: r.Position, Leaf: r.Leaf, Withdrawn: r.Withdrawn, DocumentHash: r.Hash,
			Authors: r.Authors, Reviewer: r.Reviewer, Reason: r.Reason, CreateTime: timestamppb.New(r.Time),
		}
		if documents {
			e.Document = r.Document
		}
		if moves && !r.Name.IsAct() {
			d, err := h.catalog.Changed(ctx, r)
			if err != nil {
				return nil, err
			}
			e.Difference = difference(d)
		}
		out[i] = e
	}
	return out, nil
}

func difference(d *catalog.Difference) *pb.Difference {
	out := &pb.Difference{Name: string(d.Name), Title: d.Title, How: string(d.How), Safety: d.Safety, OldRevision: d.Old, NewRevision: d.New, ForWhom: view.ForWhom(d.For)}
	for i := range d.Moves {
		out.Moves = append(out.Moves, valueMove(&d.Moves[i]))
	}
	for _, f := range d.Fields {
		out.Fields = append(out.Fields, &pb.FieldDifference{Pointer: f.Pointer, Old: f.Old, New: f.New})
	}
	return out
}

func valueMove(m *change.Move) *pb.ValueMove {
	out := &pb.ValueMove{What: m.What, Pointer: m.Pointer, Text: m.String(), Ratio: m.Ratio}
	if m.Torque() {
		out.OldTorque, out.OldUpTo, out.NewTorque, out.NewUpTo = view.Torque(m.Old), view.Torque(m.OldUpTo), view.Torque(m.New), view.Torque(m.NewUpTo)
		return out
	}
	out.OldAngle, out.NewAngle = view.Quantity(m.Old), view.Quantity(m.New)
	return out
}

// Watch is a watch of the log that a caller has open.
type Watch struct {
	*feed.Watcher
	request *pb.WatchLogRequest
	history *History
	leave   func()
}

// far is how many positions back a watch begins that is counted as a replay.
const far = 1000

// Watch begins a watch; close it. The errors are those of the feed, and LimitRate
// where the caller has too many open or has begun too many far back.
func (h *History) Watch(ctx context.Context, r *pb.WatchLogRequest) (*Watch, error) {
	filter, err := feed.ParseFilter(r.Kinds, r.Names, r.Vehicle, r.Source)
	if err != nil {
		return nil, err
	}
	if r.After != nil {
		if head, err := h.catalog.Follower.Head(ctx); err == nil && *r.After < head-far {
			if err := h.budgets.Spend(access.Payer(ctx), access.Replay); err != nil {
				return nil, err
			}
		}
	}
	leave, err := h.budgets.Watch(ctx)
	if err != nil {
		return nil, err
	}
	w, err := h.feed.Watch(ctx, r.After, filter)
	if err != nil {
		leave()
		return nil, err
	}
	return &Watch{Watcher: w, request: r, history: h, leave: leave}, nil
}

// Close ends the watch.
func (w *Watch) Close() {
	w.Watcher.Close()
	w.leave()
}

// Next returns the next event. It ends with TokenInvalid where the token of the watch
// was revoked or has expired meanwhile: nothing that came after is told.
func (w *Watch) Next(ctx context.Context) (*feed.Event, error) {
	e, err := w.Watcher.Next(ctx)
	if err != nil {
		return nil, err
	}
	return e, access.Still(ctx)
}

// Encode returns an event as the request of the watch asks for it, in a form of the
// transport. Watchers that ask for the same share the bytes.
func (w *Watch) Encode(ctx context.Context, e *feed.Event, form string, encode func(*pb.WatchLogResponse) ([]byte, error)) ([]byte, error) {
	return w.history.events.get(keyOf(e, w.request, form), func() ([]byte, error) {
		m, err := w.history.event(ctx, e, w.request)
		if err != nil {
			return nil, err
		}
		return encode(m)
	})
}

// event makes the message of an event as the request of its watch asks for it.
func (h *History) event(ctx context.Context, e *feed.Event, r *pb.WatchLogRequest) (*pb.WatchLogResponse, error) {
	out := &pb.WatchLogResponse{Event: "publication", Position: e.Position, Continues: e.Continues, Newest: e.Newest}
	if e.Progress {
		out.Event = "progress"
	}
	var err error
	out.Entries, err = h.entries(ctx, e.Revisions, r.Documents, r.Moves)
	return out, err
}

// SlowAfter is how long a watcher may take for one event before it is cut.
const SlowAfter = 30 * time.Second

// WatchLog implements pb.HistoryServer.
func (h *History) WatchLog(r *pb.WatchLogRequest, stream grpc.ServerStreamingServer[pb.WatchLogResponse]) error {
	w, err := h.Watch(stream.Context(), r)
	if err != nil {
		return err
	}
	defer w.Close()
	// The head goes out at once, so that the caller knows that the watch stands.
	if err := stream.SendHeader(metadata.MD{PositionKey: {itoa(w.Resume())}}); err != nil {
		return err
	}
	sent := make(chan error, 1)
	late := time.NewTimer(h.slowAfter)
	defer late.Stop()
	for {
		e, err := w.Next(stream.Context())
		if err != nil {
			return err
		}
		out, err := w.Encode(stream.Context(), e, "proto", func(m *pb.WatchLogResponse) ([]byte, error) { return proto.Marshal(m) })
		if err != nil {
			return err
		}
		// A send that waits for the watcher ends when this call does.
		late.Reset(h.slowAfter)
		go func() { sent <- stream.SendMsg(encoded(out)) }()
		select {
		case err := <-sent:
			if err != nil {
				return err
			}
		case <-late.C:
			return w.Slow(h.slowAfter)
		}
	}
}

// DiffLibrary implements pb.HistoryServer; so do the methods below.
func (h *History) DiffLibrary(ctx context.Context, r *pb.DiffLibraryRequest) (*pb.DiffLibraryResponse, error) {
	if r.From == "" {
		return nil, fault.Field("from", "from is empty; name the first moment: position:N, time:RFC3339 or release:NAME")
	}
	from, err := ask.When("from", r.From, 0)
	if err != nil {
		return nil, err
	}
	to, err := ask.When("to", r.To, r.MinPosition)
	if err != nil {
		return nil, err
	}
	var kinds []specdata.Kind
	for _, k := range r.Kinds {
		kinds = append(kinds, specdata.Kind(k))
	}
	d, err := h.catalog.Diff(ctx, from, to, kinds, ask.Page{Size: r.PageSize, Token: r.PageToken})
	if err != nil {
		return nil, err
	}
	out := &pb.DiffLibraryResponse{NextPageToken: d.Next, FromPosition: d.From, ToPosition: d.To, TotalSize: int32(d.Total)}
	for _, one := range d.Differences {
		out.Differences = append(out.Differences, difference(one))
	}
	return out, tell(ctx, d.To)
}

func (h *History) CreateRelease(ctx context.Context, r *pb.CreateReleaseRequest) (*pb.Release, error) {
	who, err := access.Cleared(ctx)
	if err != nil {
		return nil, err
	}
	m, err := moment(r)
	if err != nil {
		return nil, err
	}
	made, err := h.catalog.CreateRelease(ctx, r.ReleaseId, r.GetRelease().GetNote(), who.Person, m, time.Now().UTC())
	if err != nil {
		return nil, err
	}
	return release(made), tell(ctx, made.Position)
}

func (h *History) GetRelease(ctx context.Context, r *pb.GetReleaseRequest) (*pb.Release, error) {
	id, err := ask.ID("name", r.Name, "releases", "")
	if err != nil {
		return nil, err
	}
	found, err := h.catalog.Release(ctx, id)
	if err != nil {
		return nil, err
	}
	return release(found), nil
}

func (h *History) ListReleases(ctx context.Context, r *pb.ListReleasesRequest) (*pb.ListReleasesResponse, error) {
	rs, next, err := h.catalog.Releases(ctx, ask.Page{Size: r.PageSize, Token: r.PageToken})
	if err != nil {
		return nil, err
	}
	out := &pb.ListReleasesResponse{NextPageToken: next}
	for _, one := range rs {
		out.Releases = append(out.Releases, release(one))
	}
	return out, nil
}

func release(r store.Release) *pb.Release {
	return &pb.Release{Name: "releases/" + r.Name, Position: r.Position, Note: r.Note, Creator: r.By, CreateTime: timestamppb.New(r.Time)}
}
