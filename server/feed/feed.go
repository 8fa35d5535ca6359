// Package feed follows the log of a store for many watchers at once.
//
// One reader a server reads what is published and keeps the newest revisions in a
// ring. A watcher that is up to date takes them from there; one that is behind the
// ring reads the store until it has caught up. Both hold the same cursor, the index
// of the next revision in the ledger, so that nothing is missed, doubled or
// reordered when it goes from one to the other. A watcher takes what it is ready
// for: no more is held for it than what it is handed.
package feed

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"proofload/server/store"
)

// Options bound a feed. A field that is 0 takes its default.
type Options struct {
	// Replay is how many positions back a watch may begin, and may fall: 1,000,000.
	Replay int64
	// Revisions and Bytes bound the ring: 4096 revisions, 16 MiB of documents.
	Revisions, Bytes int
	// Watchers is the most there may be at once: 2000.
	Watchers int
	// Heartbeat is after how long a watcher to whom nothing happens is informed: 15 s.
	Heartbeat time.Duration
}

func (o Options) orDefault() Options {
	for _, d := range []struct {
		field *int
		value int
	}{{&o.Revisions, 4096}, {&o.Bytes, 16 << 20}, {&o.Watchers, 2000}} {
		if *d.field == 0 {
			*d.field = d.value
		}
	}
	if o.Replay == 0 {
		o.Replay = 1_000_000
	}
	if o.Heartbeat == 0 {
		o.Heartbeat = 15 * time.Second
	}
	return o
}

// Feed hands the log of a store to watchers. All methods may be called from many goroutines.
type Feed struct {
	store store.Store
	set   Options
	log   *slog.Logger
	// reads bounds how many watchers behind the ring read the store at once.
	reads chan struct{}
	// draining is closed when watchers are to end.
	draining chan struct{}
	// stop ends the reader, stopped is closed when it has ended.
	stop    context.CancelFunc
	stopped chan struct{}
	once    sync.Once

	mu sync.RWMutex
	// ring holds the revisions before end, the last of them with index end.Revisions-1.
	ring  []*item
	bytes int
	end   store.Head
	// broken is why the reader cannot go on, nil while it can.
	broken error
	// changed is closed and replaced whenever end or broken change.
	changed  chan struct{}
	watchers int
	// wanted tells the reader that there is a watcher again.
	wanted chan struct{}
}

// New starts a feed. Close it.
func New(s store.Store, o Options, log *slog.Logger) *Feed {
	ctx, stop := context.WithCancel(context.Background())
	f := &Feed{
		store: s, set: o.orDefault(), log: log, stop: stop, stopped: make(chan struct{}), draining: make(chan struct{}),
		reads: make(chan struct{}, storeReads), changed: make(chan struct{}), wanted: make(chan struct{}, 1),
	}
	go f.follow(ctx)
	return f
}

// storeReads is how many watchers behind the ring may read the store at once; they
// must not crowd out the reads of records.
const storeReads = 4

// Drain ends every watcher with its resume point and lets no new one in.
func (f *Feed) Drain() { f.once.Do(func() { close(f.draining) }) }

// Close drains, stops the reader and waits until it has stopped.
func (f *Feed) Close() {
	f.Drain()
	f.stop()
	<-f.stopped
}

// retryAfter is the pause before the reader tries again what failed.
const retryAfter = 200 * time.Millisecond

// follow is the one reader. While nobody watches it reads nothing.
func (f *Feed) follow(ctx context.Context) {
	defer close(f.stopped)
	for ctx.Err() == nil {
		if !f.awaited() {
			select {
			case <-f.wanted:
			case <-ctx.Done():
			}
			continue
		}
		err := f.advance(ctx)
		if err == nil || ctx.Err() != nil {
			continue
		}
		f.fail(err)
		if errors.Is(err, store.ErrClosed) {
			return
		}
		f.log.LogAttrs(ctx, slog.LevelError, "log cannot be followed", slog.String("error", err.Error()))
		select {
		case <-time.After(retryAfter):
		case <-ctx.Done():
		}
	}
}

func (f *Feed) awaited() bool {
	f.mu.RLock()
	defer f.mu.RUnlock()
	return f.watchers > 0
}

// advance waits for a publication and reads what was published.
func (f *Feed) advance(ctx context.Context) error {
	head, err := f.store.Await(ctx, f.end.Position+1) // end is written by this goroutine only
	if err != nil {
		return err
	}
	if head.Revisions-f.end.Revisions > int64(f.set.Revisions) {
		// More than the ring holds: watchers read it from the store.
		f.extend(head, nil)
		return nil
	}
	for f.end.Position < head.Position {
		revs, err := f.store.Log(ctx, f.end.Position, head.Position, store.MaxLimit)
		if err != nil {
			return err
		}
		if len(revs) == 0 || revs[0].Leaf != f.end.Revisions {
			return fmt.Errorf("log: %w: it does not go on at revision %d after position %d", store.ErrCorrupt, f.end.Revisions, f.end.Position)
		}
		last := revs[len(revs)-1]
		f.extend(store.Head{Position: last.Position, Revisions: last.Leaf + 1, Time: last.Time}, revs)
	}
	return nil
}

// extend notes that the log goes up to end, and keeps the revisions that came. nil
// are more than the ring holds; they are left to the store.
func (f *Feed) extend(end store.Head, revs []*store.Revision) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if revs == nil {
		f.ring, f.bytes = nil, 0
	}
	for _, r := range revs {
		f.ring = append(f.ring, &item{Revision: r})
		f.bytes += len(r.Document)
	}
	// A little more than the bound is kept, so that it is not moved every time.
	if n := len(f.ring); n > f.set.Revisions+f.set.Revisions/4 || f.bytes > f.set.Bytes+f.set.Bytes/4 {
		from, bytes := n, 0
		for from > 0 && n-from < f.set.Revisions && bytes+len(f.ring[from-1].Document) <= f.set.Bytes {
			from--
			bytes += len(f.ring[from].Document)
		}
		f.ring, f.bytes = append([]*item(nil), f.ring[from:]...), bytes
	}
	f.end, f.broken = end, nil
	close(f.changed)
	f.changed = make(chan struct{})
}

// fail notifies watchers that the log cannot be read on.
func (f *Feed) fail(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.broken = err
	close(f.changed)
	f.changed = make(chan struct{})
}
