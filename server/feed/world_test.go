package feed

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

var quiet = slog.New(slog.NewTextHandler(io.Discard, nil))

func newStore(t testing.TB) store.Store {
	t.Helper()
	s, err := sqlite.Open(context.Background(), filepath.Join(t.TempDir(), "feed.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func newFeed(t testing.TB, s store.Store, o Options) *Feed {
	t.Helper()
	f := New(s, o, quiet)
	t.Cleanup(f.Close)
	return f
}

// noLeaks fails the test where it leaves goroutines behind.
func noLeaks(t *testing.T) {
	t.Helper()
	before := runtime.NumGoroutine()
	t.Cleanup(func() {
		for range 200 {
			if runtime.NumGoroutine() <= before {
				return
			}
			time.Sleep(10 * time.Millisecond)
		}
		b := make([]byte, 1<<20)
		t.Errorf("goroutines are left:\n%s", b[:runtime.Stack(b, true)])
	})
}

// bolt is a change of a fastener: which, its torque, what it is for and what it cites.
func bolt(t testing.TB, id string, base int64, torque int, source string, vehicles ...string) store.Change {
	t.Helper()
	f := storetest.Fastener(id, "Carrier bolt "+id, "rear hub", "M12x1.5", specdata.JointClamp, torque, source, vehicles...)
	return store.Change{Name: f.Name(), Base: base, Document: storetest.Canonical(t, f)}
}

func publish(t testing.TB, s store.Store, changes ...store.Change) int64 {
	t.Helper()
	position, err := s.Publish(context.Background(), publication(changes...))
	if err != nil {
		t.Fatal(err)
	}
	return position
}

func publication(changes ...store.Change) store.Publication {
	return store.Publication{Changes: changes, Authors: []string{"ada"}, Reviewer: "ben", Reason: "measured again", Time: storetest.Epoch}
}

// one publishes the first revision of a record of its own, n times.
func one(t testing.TB, s store.Store, prefix string, n int) {
	t.Helper()
	for i := range n {
		publish(t, s, bolt(t, fmt.Sprintf("%s-%d", prefix, i), 0, 40+i, "quill-chassis", "quill-1"))
	}
}

// whole reads the log the plain way, up to the head, and what its documents say. The
// documents themselves are let go: a long run has too many of them.
func whole(t interface{ Fatal(...any) }, s store.Store) ([]*store.Revision, []fact) {
	head, err := s.Head(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	var all []*store.Revision
	var facts []fact
	for at := int64(0); at < head.Position; at = all[len(all)-1].Position {
		revs, err := s.Log(context.Background(), at, head.Position, store.MaxLimit)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range revs {
			facts = append(facts, factOf(r))
			r.Document = nil
		}
		all = append(all, revs...)
	}
	return all, facts
}

// fact is what a document says of what filters ask for.
type fact struct {
	vehicles []string
	source   string
}

// factOf reads a document in the plainest way; it knows nothing of the indexes by
// which filters work.
func factOf(r *store.Revision) (out fact) {
	rec := specdata.New(r.Name.Kind())
	if err := json.Unmarshal(r.Document, rec); err != nil {
		return out // the stores take no such document
	}
	for _, a := range specdata.AppliesOf(rec) {
		out.vehicles = append(out.vehicles, a.Vehicle)
	}
	if f, ok := rec.(*specdata.Fastener); ok && f.Source != nil {
		out.source = f.Source.Document
	}
	return out
}

// wantedOf returns the indexes of what a filter keeps of a whole log.
func wantedOf(log []*store.Revision, facts []fact, f Filter, after int64) []int64 {
	before := map[specdata.Name]int{}
	var out []int64
	for i, r := range log {
		states := []fact{facts[i]}
		if b, ok := before[r.Name]; ok {
			states = append(states, facts[b])
		}
		before[r.Name] = i
		if r.Position > after &&
			(len(f.Kinds) == 0 || slices.Contains(f.Kinds, r.Name.Kind())) && (len(f.Names) == 0 || slices.Contains(f.Names, r.Name)) &&
			(f.Vehicle == "" || r.Name == specdata.NewName(specdata.KindVehicle, f.Vehicle) || slices.ContainsFunc(states, func(s fact) bool { return slices.Contains(s.vehicles, f.Vehicle) })) &&
			(f.Source == "" || r.Name == specdata.NewName(specdata.KindSource, f.Source) || slices.ContainsFunc(states, func(s fact) bool { return s.source == f.Source })) {
			out = append(out, r.Leaf)
		}
	}
	return out
}

// seen is what one watcher was told, over however many watches, and holds it against
// what the log says.
type seen struct {
	filter Filter
	from   int64
	// leaves are what it was given of whole publications; open what of one that goes on.
	leaves, open []int64
	// reached is the last position it was told of, or was given whole.
	reached int64
}

// take notes an event. The error is a promise that the event breaks by itself.
func (s *seen) take(e *Event) error {
	switch {
	case e.Position <= s.reached && !(e.Progress && e.Position == s.reached):
		return fmt.Errorf("event of position %d after %d was reached", e.Position, s.reached)
	case e.Newest < e.Position:
		return fmt.Errorf("event of position %d says that the newest is %d", e.Position, e.Newest)
	case e.Progress && (len(e.Revisions) > 0 || e.Continues):
		return fmt.Errorf("progress at %d carries revisions", e.Position)
	}
	for _, r := range e.Revisions {
		if r.Position != e.Position {
			return fmt.Errorf("event of position %d has a revision of %d", e.Position, r.Position)
		}
		s.open = append(s.open, r.Leaf)
	}
	if e.Continues {
		return nil
	}
	if e.Progress && len(s.open) > 0 {
		return fmt.Errorf("progress at %d inside a publication", e.Position)
	}
	s.leaves, s.open, s.reached = append(s.leaves, s.open...), nil, e.Position
	return nil
}

// resume forgets what was given of a publication that went on: it comes again.
func (s *seen) resume() { s.open = nil }

// validate compares what was given with the log, up to where the watcher has come.
func (s *seen) validate(log []*store.Revision, facts []fact) error {
	want := wantedOf(log, facts, s.filter, s.from)
	for i, leaf := range want {
		if log[leaf].Position > s.reached {
			want = want[:i]
			break
		}
	}
	for i := range max(len(want), len(s.leaves)) {
		switch {
		case i >= len(want):
			return fmt.Errorf("revision %d was given, which is not wanted or was given before", s.leaves[i])
		case i >= len(s.leaves):
			return fmt.Errorf("revision %d was missed", want[i])
		case want[i] < s.leaves[i]:
			return fmt.Errorf("revision %d was missed or comes late; %d was given in its place", want[i], s.leaves[i])
		case want[i] > s.leaves[i]:
			return fmt.Errorf("revision %d was given twice or too early; %d was due", s.leaves[i], want[i])
		}
	}
	return nil
}
