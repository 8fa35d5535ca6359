package client

import (
	"context"
	"errors"
	"iter"
	"math/rand/v2"
	"strconv"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "proofload/api/proofload/v1"
)

// The pauses of a watch: before it connects again, growing from the first to the
// last, and how long a server may say nothing, where it should every 15 s.
const (
	firstPause = 100 * time.Millisecond
	lastPause  = 5 * time.Second
	quietTime  = 60 * time.Second
)

// firstAttempts is how often a watch tries before it was ever given anything: an
// address where nobody answers is more likely wrong than away.
const firstAttempts = 6

// Watch follows the log. It connects again by itself when the connection or the
// server goes away, and reads what it missed; anyone who ranges over it is given every
// entry once and in order, over however many connections. Where it was away for longer
// than a server lets a watch begin behind, it catches up by listing the log.
//
//	for event, err := range c.Watch(ctx, &pb.WatchLogRequest{Vehicle: "quill-1"}) {
//
// It ends with the error that it cannot mend, the context's among them. To go on in
// another process, keep the position of an event that does not continue in the next,
// and watch after it.
func (c *Client) Watch(ctx context.Context, r *pb.WatchLogRequest) iter.Seq2[*pb.WatchLogResponse, error] {
	return func(yield func(*pb.WatchLogResponse, error) bool) {
		w := &watch{client: c, request: proto.CloneOf(r), leaf: -1, yield: yield}
		if err := w.run(ctx); err != nil && !errors.Is(err, errEnough) {
			yield(nil, err)
		}
	}
}

// errEnough says that anyone who ranged over a watch stopped.
var errEnough = errors.New("enough")

// watch is one watch over several connections.
type watch struct {
	client *Client
	// request is what is asked for next: its After moves on with what was given.
	request *pb.WatchLogRequest
	// leaf is the ledger index of the last entry that was given, -1 before the first.
	// A publication that broke off in the middle comes again whole.
	leaf int64
	// given: something was given, so the position asked for is there.
	given bool
	// failed counts the attempts that came to nothing before the first that did not.
	failed int
	yield  func(*pb.WatchLogResponse, error) bool
	pause  time.Duration
}

func (w *watch) run(ctx context.Context) error {
	for {
		err := typed(w.connect(ctx))
		switch {
		case errors.Is(err, errEnough):
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		}
		if Reason(err) == "POSITION_TOO_OLD" {
			if err = typed(w.list(ctx)); err == nil {
				continue
			}
			if errors.Is(err, errEnough) {
				return err
			}
		}
		if w.failed++; !w.mends(err) || !w.given && w.failed == firstAttempts {
			return err
		}
		if err := w.wait(ctx, err); err != nil {
			return err
		}
	}
}

// mends reports whether another attempt may go better.
func (w *watch) mends(err error) bool {
	switch Reason(err) {
	case "WATCHER_SLOW", "LIMIT_RATE", "DRAINING":
		return true
	case "POSITION_NOT_PUBLISHED":
		return w.given // another node has not yet seen what this one gave
	}
	switch status.Code(err) {
	case codes.OK, codes.Unavailable, codes.Canceled, codes.Aborted, codes.DeadlineExceeded, codes.Internal, codes.Unknown:
		return true
	}
	return false
}

// wait pauses before the next attempt, longer each time nothing comes of one.
func (w *watch) wait(ctx context.Context, err error) error {
	w.pause = min(max(2*w.pause, firstPause), lastPause)
	pause := w.pause/2 + rand.N(w.pause/2)
	var e *Error
	if errors.As(err, &e) {
		pause = max(pause, e.RetryAfter)
	}
	select {
	case <-time.After(pause):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// connect is one connection, until it breaks.
func (w *watch) connect(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := w.client.History.WatchLog(ctx, w.request)
	if err != nil {
		return err
	}
	quiet := time.AfterFunc(quietTime, cancel)
	defer quiet.Stop()
	head, err := stream.Header()
	if err != nil {
		return err
	}
	if at := head.Get(positionKey); w.request.After == nil && len(at) == 1 {
		// From now on "now" is this position, however often the connection breaks.
		if position, err := strconv.ParseInt(at[0], 10, 64); err == nil {
			w.request.After = &position
		}
	}
	for {
		quiet.Reset(quietTime)
		e, err := stream.Recv()
		if err != nil {
			return err
		}
		quiet.Stop() // the caller may take its time
		if err := w.give(e); err != nil {
			return err
		}
	}
}

// give hands an event to the caller, without what it was given before.
func (w *watch) give(e *pb.WatchLogResponse) error {
	old := 0
	for old < len(e.Entries) && e.Entries[old].Leaf <= w.leaf {
		old++
	}
	if e.Entries = e.Entries[old:]; old > 0 && len(e.Entries) == 0 && e.Continues {
		return nil
	}
	if n := len(e.Entries); n > 0 {
		w.leaf = e.Entries[n-1].Leaf
	}
	w.pause, w.given = 0, true
	if !e.Continues {
		w.request.After = proto.Int64(e.Position)
		w.client.Require(e.Position)
	}
	if !w.yield(e, nil) {
		return errEnough
	}
	return nil
}

// list reads what is too far back to be watched, a page at a time, and returns it as a
// watch would.
func (w *watch) list(ctx context.Context) error {
	in := &pb.ListLogRequest{
		After: w.request.GetAfter(), PageSize: 500, Kinds: w.request.Kinds, Names: w.request.Names, Vehicle: w.request.Vehicle, Source: w.request.Source,
		Documents: w.request.Documents, Moves: w.request.Moves,
	}
	open := int64(0) // the publication that the page before began and did not end
	for {
		page, err := w.client.History.ListLog(ctx, in)
		if err != nil {
			return err
		}
		if open > 0 && page.Position >= open && (len(page.Entries) == 0 || page.Entries[0].Position != open) {
			if err := w.give(&pb.WatchLogResponse{Event: "publication", Position: open, Newest: page.Position}); err != nil {
				return err
			}
			open = 0
		}
		for entries := page.Entries; len(entries) > 0; {
			n := 1
			for n < len(entries) && entries[n].Position == entries[0].Position {
				n++
			}
			e := &pb.WatchLogResponse{Event: "publication", Position: entries[0].Position, Entries: entries[:n], Newest: max(entries[0].Position, page.Position)}
			open = 0
			if e.Continues = e.Position > page.Position; e.Continues { // only the last of a page may
				open = e.Position
			}
			if err := w.give(e); err != nil {
				return err
			}
			entries = entries[n:]
		}
		if len(page.Entries) == 0 || page.Entries[len(page.Entries)-1].Position < page.Position {
			if err := w.give(&pb.WatchLogResponse{Event: "progress", Position: page.Position, Newest: page.Position}); err != nil {
				return err
			}
		}
		if page.NextPageToken == "" {
			return nil
		}
		in.PageToken = page.NextPageToken
	}
}
