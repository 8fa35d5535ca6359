package feed

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

// events is how many events the watchers of the concurrent test take in all, at
// least: make soak asks for more.
var events = flag.Int("events", 60_000, "revisions that the watchers of the concurrent test are given in all, at least")

// mutant is a fault planted into the watchers of the concurrent test; it is told
// after every event and may tamper.
type mutant func(w *Watcher, random *rand.Rand, e *Event)

// Publishers and watchers at once: what every watcher was told, over however many
// connections, is the log as its filter keeps it.
func TestConcurrent(t *testing.T) {
	if err := storm(t, *events, nil); err != nil {
		t.Error(err)
	}
}

// The test above can fail: each of these faults is one that systems of this kind had.
func TestConcurrentCatches(t *testing.T) {
	fromStore := map[*Watcher]bool{}
	var mu sync.Mutex
	for _, c := range []struct {
		name  string
		plant mutant
	}{
		{"a revision skipped at the hand-over from store to ring", func(w *Watcher, _ *rand.Rand, _ *Event) {
			mu.Lock()
			defer mu.Unlock()
			w.feed.mu.RLock()
			defer w.feed.mu.RUnlock()
			behind := w.cursor.Leaf < w.feed.end.Revisions-int64(len(w.feed.ring))
			if fromStore[w] && !behind && w.cursor.Leaf < w.feed.end.Revisions {
				w.cursor.Leaf++
			}
			fromStore[w] = behind
		}},
		{"a publication given again on resuming", func(w *Watcher, _ *rand.Rand, e *Event) {
			if !e.Continues && w.delivered > 0 {
				w.delivered--
			}
		}},
		{"progress that runs ahead", func(w *Watcher, random *rand.Rand, e *Event) {
			if len(w.ready) > 0 && random.IntN(50) == 0 {
				w.ready = append([]*Event{{Position: w.ready[len(w.ready)-1].Position, Progress: true}}, w.ready...)
			}
		}},
		{"two events out of order", func(w *Watcher, random *rand.Rand, _ *Event) {
			if len(w.ready) > 1 && random.IntN(50) == 0 {
				w.ready[0], w.ready[1] = w.ready[1], w.ready[0]
			}
		}},
		{"the rest of a large publication taken for all of it", func(w *Watcher, _ *rand.Rand, e *Event) {
			if e.Continues {
				w.delivered = e.Position
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := storm(t, 40_000, c.plant); err == nil {
				t.Error("nobody noticed")
			} else {
				t.Log(err)
			}
		})
	}
}

// storm lets publishers and watchers loose on each other and returns the first promise
// that was broken.
func storm(t *testing.T, least int, plant mutant) error {
	noLeaks(t)
	const publishers, watchers = 16, 12
	s := newStore(t)
	f := newFeed(t, s, Options{Revisions: 120, Heartbeat: 5 * time.Millisecond})
	ctx, cancel := context.WithCancelCause(t.Context())
	defer cancel(nil)
	var given atomic.Int64
	quick := newPress(t)
	publishing := make(chan struct{})
	var publishersLeft, watchersLeft sync.WaitGroup
	for p := range publishers {
		publishersLeft.Go(func() {
			random := rand.New(rand.NewPCG(1, uint64(p)))
			if err := publisher(ctx, quick, s, random, p, func() bool { return given.Load() >= int64(least) }); err != nil {
				cancel(err)
			}
		})
	}
	all := make([]*seen, watchers)
	for i := range watchers {
		all[i] = &seen{filter: filters[i%len(filters)]}
		watchersLeft.Go(func() {
			random := rand.New(rand.NewPCG(2, uint64(i)))
			if err := all[i].follow(ctx, f, random, &given, plant, publishing); err != nil {
				cancel(fmt.Errorf("watcher with filter %s from %d: %w", all[i].filter, all[i].from, err))
			}
		})
	}
	publishersLeft.Wait()
	close(publishing)
	watchersLeft.Wait()
	if err := context.Cause(ctx); err != nil {
		return err
	}
	log, facts := whole(t, s)
	for _, x := range all {
		if err := x.validate(log, facts); err != nil {
			return fmt.Errorf("watcher with filter %s from %d: %w", x.filter, x.from, err)
		}
	}
	t.Logf("%d revisions at %d positions; watchers were given %d", len(log), log[len(log)-1].Position, given.Load())
	return nil
}

// press makes documents fast: from templates, of which it fills in id and torque.
type press [2][2]string

func newPress(t *testing.T) *press {
	var p press
	for i, source := range []string{"quill-chassis", "pell-chassis"} {
		for j, vehicle := range []string{"quill-1", "pell-1"} {
			p[i][j] = string(bolt(t, "the-id", 0, 77, source, vehicle).Document)
		}
	}
	return &p
}

func (p *press) bolt(id string, base int64, torque, source, vehicle int) store.Change {
	text := strings.NewReplacer(`"the-id"`, strconv.Quote(id), "77 N.m", strconv.Itoa(torque)+" N.m").Replace(p[source][vehicle])
	return store.Change{Name: specdata.NewName(specdata.KindFastener, id), Base: base, Document: []byte(text)}
}

// publisher changes records of its own until there is enough, now one and now many
// at once, faster and slower.
func publisher(ctx context.Context, quick *press, s store.Store, random *rand.Rand, number int, enough func() bool) error {
	newest, gone := map[string]int64{}, map[string]bool{}
	for !enough() && ctx.Err() == nil {
		n := 1 + random.IntN(4)
		if random.IntN(60) == 0 {
			n = 300 // more than the ring holds, and than a watcher takes at once
		}
		p := publication()
		for i := range n {
			id := fmt.Sprintf("b-%d", number*1000+random.IntN(20))
			if n > 20 {
				id = fmt.Sprintf("b-%d", number*1000+i)
			}
			if slices.ContainsFunc(p.Changes, func(c store.Change) bool { return c.Name.ID() == id }) {
				continue
			}
			if newest[id] > 0 && !gone[id] && random.IntN(5) == 0 {
				p.Changes = append(p.Changes, store.Change{Name: specdata.NewName(specdata.KindFastener, id), Base: newest[id]})
			} else {
				p.Changes = append(p.Changes, quick.bolt(id, newest[id], 10+random.IntN(80), random.IntN(2), random.IntN(2)))
			}
			gone[id] = p.Changes[len(p.Changes)-1].Document == nil
			newest[id]++
		}
		if _, err := s.Publish(ctx, p); err != nil && ctx.Err() == nil {
			return fmt.Errorf("publisher %d: %w", number, err)
		}
		if random.IntN(20) == 0 {
			time.Sleep(time.Duration(random.IntN(3000)) * time.Microsecond)
		}
	}
	return nil
}

// follow watches from some place until nothing more is published and all of it was
// given, breaking off and going on at random, and sometimes falling behind.
func (s *seen) follow(ctx context.Context, f *Feed, random *rand.Rand, given *atomic.Int64, plant mutant, ended <-chan struct{}) error {
	head, err := f.store.Head(ctx)
	if err != nil {
		return err
	}
	s.from = random.Int64N(head.Position + 1)
	s.reached = s.from
	resume := s.from
	for {
		w, err := f.Watch(ctx, &resume, s.filter)
		if err != nil {
			return err
		}
		last, err := s.watch(ctx, w, random, given, plant, ended)
		resume = w.Resume()
		w.Close()
		if last || err != nil {
			return err
		}
		s.resume()
	}
}

// watch is one connection. last says that everything was given.
func (s *seen) watch(ctx context.Context, w *Watcher, random *rand.Rand, given *atomic.Int64, plant mutant, ended <-chan struct{}) (last bool, err error) {
	for {
		e, err := w.Next(ctx)
		if err != nil {
			return false, err
		}
		if err := s.take(e); err != nil {
			return false, err
		}
		given.Add(int64(len(e.Revisions)))
		select {
		case <-ended:
			head, err := w.feed.store.Head(ctx)
			if err != nil || s.reached == head.Position {
				return true, err
			}
		default:
		}
		if plant != nil {
			plant(w, random, e)
		}
		switch n := random.IntN(400); {
		case n == 0 || e.Continues && n < 100:
			return false, nil
		case n < 8: // meanwhile the ring goes on
			time.Sleep(time.Duration(random.IntN(60)) * time.Millisecond)
		}
	}
}

// Watching at once ends, with where to go on, when the feed drains; closing leaves nothing.
func TestDrain(t *testing.T) {
	noLeaks(t)
	s := newStore(t)
	one(t, s, "a", 3)
	f := newFeed(t, s, Options{Heartbeat: time.Hour})
	from := int64(1)
	w, err := f.Watch(t.Context(), &from, Filter{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	for want := int64(2); want <= 3; want++ {
		if e, err := w.Next(t.Context()); err != nil || e.Position != want || len(e.Revisions) != 1 {
			t.Fatalf("got %+v, %v; want position %d", e, err, want)
		}
	}
	if e, err := w.Next(t.Context()); err != nil || !e.Progress || e.Position != 3 || e.Newest != 3 {
		t.Fatalf("a watch that is up to date says %+v, %v", e, err)
	}
	ended := make(chan error)
	go func() { _, err := w.Next(t.Context()); ended <- err }()
	time.Sleep(20 * time.Millisecond)
	f.Drain()
	select {
	case err := <-ended:
		if e := fault.From(err); e.Kind != fault.Draining || e.Metadata["resume_after"] != "3" {
			t.Errorf("drain ends a watch with %v %v", err, e.Metadata)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("drain does not end a watch")
	}
	if _, err := f.Watch(t.Context(), nil, Filter{}); fault.From(err).Kind != fault.Draining {
		t.Errorf("a draining feed lets a watcher in: %v", err)
	}
	f.Close()
	f.Close()
}

func TestWhereAWatchMayBegin(t *testing.T) {
	s := newStore(t)
	one(t, s, "a", 10)
	f := newFeed(t, s, Options{Replay: 4, Watchers: 2})
	at := func(n int64) *int64 { return &n }
	for _, c := range []struct {
		after *int64
		kind  fault.Kind
		key   string
		value string
	}{
		{at(11), fault.PositionNotPublished, "newest", "10"}, {at(1 << 62), fault.PositionNotPublished, "newest", "10"},
		{at(5), fault.PositionTooOld, "oldest", "6"}, {at(0), fault.PositionTooOld, "oldest", "6"}, {at(-1), fault.InvalidArgument, "field", "after"},
	} {
		_, err := f.Watch(t.Context(), c.after, Filter{})
		if e := fault.From(err); err == nil || e.Kind != c.kind || e.Metadata[c.key] != c.value {
			t.Errorf("after %d: %v, want %s with %s %s", *c.after, err, c.kind, c.key, c.value)
		}
	}
	var open []*Watcher
	for _, after := range []*int64{nil, at(6)} {
		w, err := f.Watch(t.Context(), after, Filter{})
		if err != nil {
			t.Fatal(err)
		}
		open = append(open, w)
	}
	if _, err := f.Watch(t.Context(), nil, Filter{}); fault.From(err).Kind != fault.LimitRate || fault.From(err).RetryAfter == 0 {
		t.Errorf("a third watcher of two: %v", err)
	}
	if e, err := open[0].Next(t.Context()); err != nil || !e.Progress || e.Position != 10 {
		t.Errorf("a watch from now begins with %+v, %v", e, err)
	}
	open[0].Close()
	open[0].Close()
	if w, err := f.Watch(t.Context(), nil, Filter{}); err != nil {
		t.Errorf("a place that was given back is not free: %v", err)
	} else {
		w.Close()
	}
	open[1].Close()
}

// A watcher that takes nothing for so long that it could not begin there again is cut.
func TestFallenTooFarBehind(t *testing.T) {
	s := newStore(t)
	one(t, s, "a", 3)
	f := newFeed(t, s, Options{Replay: 5, Revisions: 2})
	w, err := f.Watch(t.Context(), nil, Filter{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	if _, err := w.Next(t.Context()); err != nil {
		t.Fatal(err)
	}
	one(t, s, "b", 9)
	for range 500 { // until the feed has seen all
		if f.mu.RLock(); f.end.Position == 12 {
			f.mu.RUnlock()
			break
		}
		f.mu.RUnlock()
		time.Sleep(time.Millisecond)
	}
	_, err = w.Next(t.Context())
	if e := fault.From(err); e.Kind != fault.WatcherSlow || e.Metadata["resume_after"] != "3" {
		t.Errorf("got %v %v", err, e.Metadata)
	}
}

// What the reader meets, watchers are told: a log that cannot be read is no silence.
func TestStoreThatFails(t *testing.T) {
	s := newStore(t)
	one(t, s, "a", 1)
	f := newFeed(t, s, Options{Heartbeat: time.Hour})
	w, err := f.Watch(t.Context(), nil, Filter{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	if _, err := w.Next(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	if e, err := w.Next(ctx); err == nil || errors.Is(err, context.DeadlineExceeded) || fault.From(err).Metadata["resume_after"] != "1" {
		t.Errorf("a closed store gives %+v, %v", e, err)
	}
}
