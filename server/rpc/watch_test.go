package rpc

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"proofload/api/client"
	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/server/feed"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// served is a store with a server that can be killed and started again at the same address.
type served struct {
	age     time.Duration
	store   store.Store
	address string
	set     feed.Options
	slow    time.Duration

	server *Server
	feed   *feed.Feed
	// budgets are of callers, nil for none.
	budgets *access.Budgets
}

func serve(t *testing.T, set feed.Options) *served {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "watch.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	x := &served{store: s, address: "127.0.0.1:0", set: set}
	x.start(t)
	t.Cleanup(x.kill)
	return x
}

func (x *served) start(t *testing.T) {
	t.Helper()
	var l net.Listener
	var err error
	for range 100 { // the address may still be in use
		if l, err = net.Listen("tcp", x.address); err == nil {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if err != nil {
		t.Fatal(err)
	}
	x.address = l.Addr().String()
	cat, err := catalog.New(context.Background(), x.store)
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	x.feed = feed.New(x.store, x.set, log)
	x.server = NewServer(Deps{Catalog: cat, Feed: x.feed, Gate: access.NewGate(access.NewKeys(x.store, time.Now), access.Settings{Required: x.budgets != nil}), MaxAge: x.age, Budgets: x.budgets, Log: log})
	if x.slow > 0 {
		x.server.History.slowAfter = x.slow
	}
	go x.server.Serve(l)
}

// kill breaks every connection off, as when the process dies.
func (x *served) kill() {
	x.server.Stop()
	x.feed.Close()
}

func (x *served) dial(t *testing.T, options ...grpc.DialOption) *client.Client {
	t.Helper()
	c, err := client.Dial(x.address, options...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// publish publishes new fasteners, n at once, and returns the position.
func (x *served) publish(t *testing.T, round, n int) int64 {
	t.Helper()
	p := store.Publication{Authors: []string{"ada"}, Reviewer: "ben", Reason: "measured again", Time: storetest.Epoch}
	for i := range n {
		f := storetest.Fastener(fmt.Sprintf("b-%d-%d", round, i), "Bolt", "rear hub", "M12x1.5", specdata.JointClamp, 80, "quill-chassis", "quill-1")
		p.Changes = append(p.Changes, store.Change{Name: f.Name(), Document: storetest.Canonical(t, f)})
	}
	position, err := x.store.Publish(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	return position
}

// The client's watch goes on by itself when servers die and come back, in the middle
// of a large publication too, and when it was away for longer than a watch may begin
// behind: its caller is given every entry once and in order.
func TestClientWatchesOverRestarts(t *testing.T) {
	x := serve(t, feed.Options{Replay: 6, Revisions: 50, Heartbeat: 20 * time.Millisecond})
	x.publish(t, 0, 3)
	c := x.dial(t)
	const rounds = 40
	ended := make(chan error, 1)
	var leaves []int64
	continued, caughtUp := 0, 0
	var want atomic.Int64 // the last position, once it is known
	kills := make(chan int, 1000)
	go func() {
		ended <- func() error {
			for e, err := range c.Watch(t.Context(), &pb.WatchLogRequest{After: proto.Int64(0)}) {
				if err != nil {
					return err
				}
				for _, one := range e.Entries {
					if one.Position != e.Position {
						return fmt.Errorf("entry of %d in an event of %d", one.Position, e.Position)
					}
					leaves = append(leaves, one.Leaf)
				}
				if e.Continues {
					continued++
					select {
					case kills <- 1: // now is a good moment to die
					default:
					}
				} else {
					caughtUp++
				}
				if last := want.Load(); last > 0 && !e.Continues && e.Position == last {
					return nil
				}
			}
			return fmt.Errorf("watch ended without an error")
		}()
	}()
	var last int64
	for round := 1; round <= rounds; round++ {
		n := 1 + round%3
		if round%7 == 0 {
			n = 900
		}
		last = x.publish(t, round, n)
		switch {
		case round%10 == 0: // long enough away to fall out of the replay
			x.kill()
			for i := range 9 {
				last = x.publish(t, 1000*round+i, 2)
			}
			x.start(t)
		case round%4 == 0:
			x.kill()
			x.start(t)
		}
		select {
		case <-kills:
			x.kill()
			x.start(t)
		case <-time.After(30 * time.Millisecond):
		}
	}
	want.Store(last)
	select {
	case err := <-ended:
		if err != nil {
			t.Fatal(err)
		}
	case <-time.After(60 * time.Second):
		t.Fatal("watch did not come to the end")
	}
	head, err := x.store.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if int64(len(leaves)) != head.Revisions {
		t.Errorf("watcher was given %d entries, the log has %d", len(leaves), head.Revisions)
	}
	for i, leaf := range leaves {
		if leaf != int64(i) {
			t.Fatalf("entry %d is revision %d of the ledger; one was missed, doubled or out of order", i, leaf)
		}
	}
	if continued == 0 || caughtUp == 0 || c.Position() < last {
		t.Errorf("%d events continued, %d did not, client has seen position %d", continued, caughtUp, c.Position())
	}
}

// next receives one event.
func next(t *testing.T, stream grpc.ServerStreamingClient[pb.WatchLogResponse]) *pb.WatchLogResponse {
	t.Helper()
	e, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestWatchLog(t *testing.T) {
	x := serve(t, feed.Options{Replay: 3, Heartbeat: 50 * time.Millisecond})
	for round := range 3 {
		x.publish(t, round, 2)
	}
	c := x.dial(t)
	stream, err := c.History.WatchLog(t.Context(), &pb.WatchLogRequest{After: proto.Int64(1), Names: []string{"fasteners/b-1-1", "fasteners/b-5-0"}, Documents: true, Moves: true})
	if err != nil {
		t.Fatal(err)
	}
	if head, err := stream.Header(); err != nil || len(head.Get(PositionKey)) != 1 || head.Get(PositionKey)[0] != "1" {
		t.Errorf("the head says %v, %v; want the position behind which the watch begins", head, err)
	}
	e := next(t, stream)
	if e.Event != "publication" || e.Position != 2 || e.Newest != 3 || len(e.Entries) != 1 || e.Entries[0].Name != "fasteners/b-1-1" || e.Entries[0].Leaf != 3 ||
		len(e.Entries[0].Document) == 0 || e.Entries[0].Difference.GetHow() != "added" || e.Entries[0].Reviewer != "ben" || e.Entries[0].Title != "Bolt" {
		t.Errorf("first event is %v", e)
	}
	// Nothing else is wanted: progress says how far the watch has come, so that it can resume cheaply.
	if e := next(t, stream); e.Event != "progress" || e.Position != 3 || e.Newest != 3 || len(e.Entries) > 0 {
		t.Errorf("second event is %v", e)
	}
	x.publish(t, 4, 1)
	for {
		if e := next(t, stream); e.Position == 4 {
			if e.Event != "progress" {
				t.Errorf("a publication that is not wanted gives %v", e)
			}
			break
		}
	}
	x.publish(t, 5, 1)
	for {
		if e := next(t, stream); e.Event == "publication" {
			if e.Position != 5 || e.Entries[0].Name != "fasteners/b-5-0" {
				t.Errorf("a wanted publication gives %v", e)
			}
			break
		}
	}
	for _, c2 := range []struct {
		in     *pb.WatchLogRequest
		code   codes.Code
		reason string
		key    string
		value  string
	}{
		{&pb.WatchLogRequest{After: proto.Int64(6)}, codes.OutOfRange, "POSITION_NOT_PUBLISHED", "newest", "5"},
		{&pb.WatchLogRequest{After: proto.Int64(1)}, codes.OutOfRange, "POSITION_TOO_OLD", "oldest", "2"},
		{&pb.WatchLogRequest{After: proto.Int64(-1)}, codes.InvalidArgument, "INVALID_ARGUMENT", "field", "after"},
		{&pb.WatchLogRequest{Kinds: []string{"nut"}}, codes.InvalidArgument, "INVALID_ARGUMENT", "field", "kinds"},
	} {
		stream, err := c.History.WatchLog(t.Context(), c2.in)
		if err == nil {
			_, err = stream.Recv()
		}
		f := fault.From(err)
		if status.Code(err) != c2.code || string(f.Kind) != c2.reason || f.Metadata[c2.key] != c2.value {
			t.Errorf("%v: got %v %v, want %s with %s %s", c2.in, err, f.Metadata, c2.reason, c2.key, c2.value)
		}
	}
	x.feed.Drain()
	for {
		if _, err := stream.Recv(); err != nil {
			if f := fault.From(err); f.Kind != fault.Draining || f.Metadata["resume_after"] != "5" {
				t.Errorf("a stopping server ends the watch with %v %v", err, f.Metadata)
			}
			break
		}
	}
}

// A watcher that takes nothing is cut with its resume point, and nothing is lost or
// doubled when it goes on there.
func TestSlowWatcher(t *testing.T) {
	x := serve(t, feed.Options{})
	x.kill()
	x.slow = 150 * time.Millisecond
	x.start(t)
	for round := range 20 {
		x.publish(t, round, 30)
	}
	c := x.dial(t, grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithStaticStreamWindowSize(64<<10))
	var leaves []int64
	after, cuts := int64(0), 0
	for after < 20 {
		ctx, cancel := context.WithCancel(t.Context())
		stream, err := c.History.WatchLog(ctx, &pb.WatchLogRequest{After: &after, Documents: true})
		if err != nil {
			t.Fatal(err)
		}
		if cuts == 0 {
			time.Sleep(2 * x.slow) // takes nothing
		}
		for {
			e, err := stream.Recv()
			if err != nil {
				f := fault.From(err)
				if f.Kind != fault.WatcherSlow || f.Metadata["resume_after"] != itoa(after) {
					t.Fatalf("the watch ends with %v %v after position %d", err, f.Metadata, after)
				}
				cuts++
				break
			}
			for _, one := range e.Entries {
				leaves = append(leaves, one.Leaf)
			}
			if after = e.Position; after == 20 {
				break
			}
		}
		cancel()
	}
	if cuts != 1 {
		t.Errorf("the watcher was cut %d times, want once", cuts)
	}
	for i, leaf := range leaves {
		if leaf != int64(i) {
			t.Fatalf("entry %d is revision %d", i, leaf)
		}
	}
	if len(leaves) != 600 {
		t.Errorf("%d entries, want 600", len(leaves))
	}
}

// A connection does not live for ever, and neither does a watch on it.
func TestAConnectionHasAnAge(t *testing.T) {
	if maxAge <= 0 || maxAge > time.Hour {
		t.Errorf("a connection lives for %s; allowed: up to an hour", maxAge)
	}
	x := serve(t, feed.Options{})
	x.kill()
	x.age = 50 * time.Millisecond
	x.start(t)
	conn, err := grpc.NewClient(x.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	watch, err := pb.NewHistoryClient(conn).WatchLog(ctx, &pb.WatchLogRequest{})
	for err == nil {
		_, err = watch.Recv()
	}
	if ctx.Err() != nil {
		t.Errorf("the watch outlives its connection: %v", err)
	}
}

// Watchers that ask for the same share the bytes of an event, and those that ask
// for something else get their own.
func TestEventsAreEncodedOnce(t *testing.T) {
	s, made := newEvents(), 0
	get := func(r *pb.WatchLogRequest, leaves ...int64) string {
		e := &feed.Event{Position: 3, Newest: 9}
		for _, l := range leaves {
			e.Revisions = append(e.Revisions, &store.Revision{Leaf: l})
		}
		b, err := s.get(keyOf(e, r, "json"), func() ([]byte, error) { made++; return fmt.Append(nil, made), nil })
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	plain, whole := &pb.WatchLogRequest{}, &pb.WatchLogRequest{Documents: true}
	for range 1000 {
		if get(plain, 1, 2, 5) != "1" {
			t.Fatal("an event is encoded again")
		}
	}
	if a, b, c := get(whole, 1, 2, 5), get(plain, 1, 3, 5), get(&pb.WatchLogRequest{Moves: true}, 1, 2, 5); a != "2" || b != "3" || c != "4" {
		t.Errorf("other requests get %s, %s, %s", a, b, c)
	}
	failing := fmt.Errorf("the caller went away")
	if _, err := s.get(eventKey{form: "x"}, func() ([]byte, error) { return nil, failing }); err != failing {
		t.Error(err)
	}
	if b, err := s.get(eventKey{form: "x"}, func() ([]byte, error) { return []byte("y"), nil }); err != nil || string(b) != "y" {
		t.Errorf("a failure is kept: %s, %v", b, err)
	}
	large := make([]byte, eventBytes/4)
	for i := range 20 {
		s.get(eventKey{position: int64(i), form: "large"}, func() ([]byte, error) { return large, nil })
	}
	if s.bytes > eventBytes || len(s.kept) > 6 {
		t.Errorf("%d bytes in %d events are kept", s.bytes, len(s.kept))
	}
}

// Watches that begin far back are counted on their own, and too many of them refused with
// the time to wait; watches from near the head are not.
func TestReplaysHaveABudget(t *testing.T) {
	x := serve(t, feed.Options{})
	var wg sync.WaitGroup
	for round := range 8 {
		wg.Go(func() {
			for i := range far/8 + 2 {
				x.publish(t, round*far+i, 1)
			}
		})
	}
	wg.Wait()
	secret, _, err := access.NewKeys(x.store, time.Now).Issue(t.Context(), "Una Birk", []access.Role{access.Reader}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	x.kill()
	x.budgets = access.NewBudgets(access.Limits{Watches: 100, Rates: map[access.Cost]access.Rate{access.Request: {PerSecond: 1000, Burst: 1000}, access.Replay: {PerSecond: 0.001, Burst: 2}}}, time.Now)
	x.start(t)
	begin := func(after int64) error {
		conn, err := grpc.NewClient(x.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		watch, err := pb.NewHistoryClient(conn).WatchLog(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret), &pb.WatchLogRequest{After: &after})
		if err == nil {
			_, err = watch.Recv()
		}
		return err
	}
	head, err := x.store.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i := range 2 {
		if err := begin(0); err != nil {
			t.Fatalf("replay %d: %v", i+1, err)
		}
	}
	if f := fault.From(begin(0)); f.Kind != fault.LimitRate || f.RetryAfter <= 0 {
		t.Errorf("a third replay: %v, wait %s", f, f.RetryAfter)
	}
	if err := begin(head.Position - far); err != nil {
		t.Errorf("a watch from near the head: %v", err)
	}
}
