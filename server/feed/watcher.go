package feed

import (
	"context"
	"errors"
	"strconv"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// Event is what a watcher returns: a publication, or how far the watch has come.
type Event struct {
	// Position is that of the publication. Where there are no Revisions and nothing
	// Continues, nothing wanted was published up to it.
	Position int64
	// Revisions are what was published there and is wanted, in the order of the log.
	Revisions []*store.Revision
	// Continues says that the publication is large and goes on in the next event.
	Continues bool
	// Newest is the newest position of the log.
	Newest int64
	// Progress says that this is no publication but a mark of how far the watch has come.
	Progress bool
}

// Watcher follows the log from one place on. It is for one goroutine.
type Watcher struct {
	feed   *Feed
	filter Filter
	cursor Cursor
	// ready holds events not yet returned; part is set while some of a publication
	// has been returned and the rest is to come.
	ready []*Event
	part  bool
	// delivered is the position of the last event returned, acknowledged that of the
	// last one consumed, head one that is known to be published.
	delivered, acknowledged, head int64
	// greeted is set once an event has said that the watch is up to date.
	greeted bool
	closed  bool
}

// The sizes of a watcher's steps: how many revisions it takes at once, and how many
// positions may pass without one that is wanted before it says how far it is.
const (
	step = 256
	mark = 10_000
)

// Watch follows the log after a position, or, where after is nil, from now. Close the
// watcher. The error is PositionNotPublished for a position that is not there yet,
// PositionTooOld for one further back than a watch may begin, LimitRate where there
// are too many watchers and Draining where the server stops.
func (f *Feed) Watch(ctx context.Context, after *int64, filter Filter) (*Watcher, error) {
	head, err := f.store.Head(ctx)
	if err != nil {
		return nil, err
	}
	from := head.Position
	if after != nil {
		from = *after
	}
	switch {
	case from < 0:
		return nil, fault.Field("after", "after %d is no position; positions count from 1, 0 is before the first", from)
	case from > head.Position:
		return nil, fault.New(fault.PositionNotPublished, "position %d is not yet published; the newest is %d, begin there or earlier", from, head.Position).
			With("after", itoa(from)).With("newest", itoa(head.Position))
	case from < head.Position-f.set.Replay:
		return nil, f.tooOld(from, head.Position)
	}
	cursor, err := CursorAt(ctx, f.store, from)
	if err != nil {
		return nil, err
	}
	if err := f.enter(); err != nil {
		return nil, err
	}
	return &Watcher{feed: f, filter: filter, cursor: cursor, delivered: from, acknowledged: from, head: head.Position}, nil
}

func (f *Feed) tooOld(after, newest int64) error {
	oldest := newest - f.set.Replay
	return fault.New(fault.PositionTooOld, "position %d is %d positions back; a watch begins at most %d back, at position %d or later. Catch up with GET /v1/log?after=%d, page by page, and watch from the position the last page names",
		after, newest-after, f.set.Replay, oldest, after).
		With("after", itoa(after)).With("oldest", itoa(oldest)).With("newest", itoa(newest))
}

func (f *Feed) enter() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	select {
	case <-f.draining:
		return stopping()
	default:
	}
	if f.watchers >= f.set.Watchers {
		e := fault.New(fault.LimitRate, "server has %d watchers, which is the most it takes; list the log instead, or try again later", f.watchers).With("limit", strconv.Itoa(f.set.Watchers))
		e.RetryAfter = f.set.Heartbeat
		return e
	}
	f.watchers++
	select {
	case f.wanted <- struct{}{}:
	default:
	}
	return nil
}

// Close frees the watcher's place. Closing again does nothing.
func (w *Watcher) Close() {
	if w.closed {
		return
	}
	w.closed = true
	w.feed.mu.Lock()
	w.feed.watchers--
	w.feed.mu.Unlock()
}

// Resume returns the position to watch after to go on behind the last event that Next
// returned.
func (w *Watcher) Resume() int64 { return w.delivered }

// Next returns the next event, waiting for one at most as long as the heartbeat, after
// which it returns an event of progress. The error says where to resume: Draining where
// the server stops, WatcherSlow where the watcher has fallen further behind than a
// watch may begin, the context's error, or that the store cannot be read.
func (w *Watcher) Next(ctx context.Context) (*Event, error) {
	var patience <-chan time.Time
	w.Took()
	for {
		if len(w.ready) > 0 {
			e := w.ready[0]
			w.ready = w.ready[1:]
			if e.Newest = w.head; !e.Continues {
				w.delivered = e.Position
			}
			return e, nil
		}
		end, changed, err := w.fill(ctx)
		if err != nil {
			return nil, resumable(err, w.delivered)
		}
		w.head = max(w.head, end.Position)
		current := w.cursor.Position >= w.head
		switch {
		case len(w.ready) > 0 || w.cursor.Inside:
			continue
		case w.cursor.Position >= w.delivered+mark, current && !w.greeted:
			w.greeted = current
			return w.progress(), nil
		case w.cursor.Position < end.Position:
			continue
		}
		if patience == nil {
			timer := time.NewTimer(w.feed.set.Heartbeat)
			defer timer.Stop()
			patience = timer.C
		}
		select {
		case <-changed:
		case <-patience:
			return w.progress(), nil
		case <-w.feed.draining:
			return nil, resumable(stopping(), w.delivered)
		case <-ctx.Done():
			return nil, resumable(ctx.Err(), w.delivered)
		}
	}
}

func (w *Watcher) progress() *Event {
	w.delivered = w.cursor.Position
	return &Event{Position: w.delivered, Newest: w.head, Progress: true}
}

// resumable adds a resume point to an error.
func resumable(err error, after int64) error {
	if errors.Is(err, context.Canceled) {
		return err // nobody is there to read it
	}
	e := fault.From(err)
	if e.Kind == fault.Draining || e.Kind == fault.WatcherSlow || e.Kind.Row().Status >= 500 {
		e.Message += "; resume after position " + itoa(after)
		e.With("resume_after", itoa(after))
	}
	return e
}

// Took acknowledges the event that Next returned last. Calling Next does so too.
func (w *Watcher) Took() { w.acknowledged = w.delivered }

// Slow returns the error for a watcher that does not take the last event; its resume
// point is before that event.
func (w *Watcher) Slow(waited time.Duration) error {
	return resumable(fault.New(fault.WatcherSlow, "watcher took nothing for %s; it is cut so that it costs nothing more", waited).With("waited", waited.String()), w.acknowledged)
}

// fill takes the next step of the log, from the ring where it has it and from the
// store where not. It returns how far the log is known to go, and what is closed when
// that changes.
func (w *Watcher) fill(ctx context.Context) (end store.Head, changed <-chan struct{}, err error) {
	f := w.feed
	select {
	case <-f.draining:
		return end, nil, stopping()
	default:
	}
	f.mu.RLock()
	end, changed, err = f.end, f.changed, f.broken
	items, next := f.held(w.cursor)
	f.mu.RUnlock()
	switch {
	case err != nil:
		return end, changed, err
	case w.cursor.Leaf >= end.Revisions:
		return end, changed, nil
	case end.Position-w.cursor.Position > f.set.Replay:
		return end, changed, fault.New(fault.WatcherSlow, "watcher is %d positions behind; allowed: %d", end.Position-w.cursor.Position, f.set.Replay).With("allowed", itoa(f.set.Replay))
	case len(items) > 0:
		return end, changed, w.take(ctx, items, next)
	}
	select {
	case f.reads <- struct{}{}:
		defer func() { <-f.reads }()
	case <-ctx.Done():
		return end, changed, ctx.Err()
	}
	revs, next, err := ReadLog(ctx, f.store, w.cursor, end, step)
	if err != nil {
		return end, changed, err
	}
	for _, r := range revs {
		items = append(items, &item{Revision: r})
	}
	return end, changed, w.take(ctx, items, next)
}

// held returns the next revisions behind a cursor that the ring holds, and the cursor
// behind them. The caller holds the lock.
func (f *Feed) held(c Cursor) ([]*item, Cursor) {
	at := c.Leaf - (f.end.Revisions - int64(len(f.ring)))
	if at < 0 || at >= int64(len(f.ring)) {
		return nil, c
	}
	to := min(at+step, int64(len(f.ring)))
	last := f.ring[to-1].Position
	next := Cursor{Position: last, Leaf: c.Leaf + to - at}
	if to < int64(len(f.ring)) && f.ring[to].Position == last {
		next.Inside = true
		next.Position--
	}
	return append([]*item(nil), f.ring[at:to]...), next
}

// maxEvent is how many bytes of documents one event holds before it is continued in
// another; a message may have 8 MiB, and what moved may repeat the documents twice.
const maxEvent = 1 << 20

// take makes events of the revisions up to a cursor and puts the watcher there.
func (w *Watcher) take(ctx context.Context, items []*item, next Cursor) error {
	var events []*Event
	part := w.part
	for len(items) > 0 {
		position := items[0].Position
		e := &Event{Position: position}
		bytes := 0
		for len(items) > 0 && items[0].Position == position && bytes < maxEvent {
			i := items[0]
			items = items[1:]
			wanted, err := w.filter.wants(ctx, w.feed.store, i)
			if err != nil {
				return err
			}
			if wanted {
				e.Revisions = append(e.Revisions, i.Revision)
				bytes += len(i.Document)
			}
		}
		e.Continues = len(items) > 0 && items[0].Position == position || len(items) == 0 && next.Inside
		if len(e.Revisions) > 0 || part && !e.Continues {
			events = append(events, e)
		}
		part = e.Continues && (part || len(e.Revisions) > 0)
	}
	w.ready, w.part, w.cursor = events, part, next
	return nil
}

func stopping() error {
	return fault.New(fault.Draining, "server is stopping; watch another one, or this one when it is back")
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }
