package postgres

import (
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// The whole contract holds where every 20th statement, COMMIT among them, fails for
// the reason that engines of this protocol have for failing any of them.
func TestContractInjected(t *testing.T) {
	t.Parallel()
	server := pgtest.Shared(t)
	var hits atomic.Int64
	storetest.Run(t, func(t *testing.T) store.Store {
		p := &proxy{decide: func(n int64, sql string) fate {
			if random(uint64(n))%20 == 0 {
				return fail
			}
			return pass
		}}
		t.Cleanup(func() { hits.Add(p.hit.Load()) })
		// A large publication has so many statements that one attempt seldom escapes.
		set := usual(Options{Patience: 2 * time.Minute})
		set.configure = p.configure
		return openSettings(t, server.Address(), set)
	})
	t.Cleanup(func() { t.Logf("%d statements were made to fail", hits.Load()) })
}

// random scatters a number (SplitMix64, from memory).
func random(n uint64) uint64 {
	n *= 0x9e3779b97f4a7c15
	n = (n ^ n>>30) * 0xbf58476d1ce4e5b9
	n = (n ^ n>>27) * 0x94d049bb133111eb
	return n ^ n>>31
}

// scenario does one of everything that writes, and returns what it published.
func scenario(t *testing.T, s *Store) {
	t.Helper()
	a, b := storetest.Bolt(1, 60), storetest.Bolt(2, 60)
	first := storetest.Publication(1, storetest.Put(t, a, 0), storetest.Put(t, b, 0))
	first.Notes = func(position int64, _ time.Time) ([]store.NoteWrite, error) {
		return []store.NoteWrite{{Space: "corrections", Key: "c1", Base: 0, Body: fmt.Append(nil, position), Terms: []string{"open"}, Time: storetest.Epoch}}, nil
	}
	second := storetest.Publication(2, storetest.Put(t, a, 1), store.Change{Name: b.Name(), Base: 1})
	second.Key = "k"
	for i, p := range []store.Publication{first, second} {
		if at, err := s.Publish(t.Context(), p); err != nil || at != int64(i+1) {
			t.Fatalf("publication %d gives %d, %v", i+1, at, err)
		}
	}
	if err := s.WriteNotes(t.Context(), []store.NoteWrite{{Space: "corrections", Key: "c1", Base: 1, Body: []byte("done"), Time: storetest.Epoch}}); err != nil {
		t.Fatal(err)
	}
	if err := s.SetRelease(t.Context(), store.Release{Name: "r", Position: 1, Time: storetest.Epoch}); err != nil {
		t.Fatal(err)
	}
	if err := s.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// verifyScenario fails unless everything is there once.
func verifyScenario(t *testing.T, s *Store) {
	t.Helper()
	rs, err := s.Log(t.Context(), 0, 2, 10)
	if err != nil || len(rs) != 4 {
		t.Fatalf("the log has %d revisions, %v; want 4", len(rs), err)
	}
	for i, want := range []struct {
		name   specdata.Name
		number int64
	}{{"fasteners/quill-1-bolt-000001", 1}, {"fasteners/quill-1-bolt-000002", 1}, {"fasteners/quill-1-bolt-000001", 2}, {"fasteners/quill-1-bolt-000002", 2}} {
		if r := rs[i]; r.Name != want.name || r.Number != want.number || r.Withdrawn != (i == 3) {
			t.Errorf("revision %d of the log is %+v", i, r)
		}
	}
	if n, err := s.GetNote(t.Context(), "corrections", "c1"); err != nil || n.Version != 2 || string(n.Body) != "done" {
		t.Errorf("the note is %+v, %v", n, err)
	}
	if rs, err := s.Releases(t.Context()); err != nil || len(rs) != 1 {
		t.Errorf("releases are %v, %v", rs, err)
	}
	head, err := s.Head(t.Context())
	if err != nil || head.Position != 2 || head.Revisions != 4 {
		t.Errorf("head is %+v, %v", head, err)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// One thing goes wrong, at each statement in turn, from the first of opening a new
// store to the last: it is not noticed, nothing is lost and nothing happens twice.
func TestEveryStatement(t *testing.T) {
	t.Parallel()
	server := pgtest.Shared(t)
	for name, what := range map[string]fate{"fails": fail, "cut before": cutBefore, "cut after": cutAfter} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			statements := int64(1 << 30)
			for at := int64(1); at <= statements; at += *stride {
				p := &proxy{}
				p.decide = func(n int64, sql string) fate {
					if n == at {
						return what
					}
					return pass
				}
				set := usual(Options{})
				set.configure = p.configure
				s, err := open(t.Context(), server.Address(), set)
				if err != nil {
					// Anyone who does not answer the first time has another address.
					if what != fail && at == 1 {
						continue
					}
					t.Fatalf("statement %d: %v", at, err)
				}
				scenario(t, s)
				verifyScenario(t, s)
				if statements = p.count.Load(); at <= statements && p.hit.Load() != 1 {
					t.Errorf("statement %d was hit %d times", at, p.hit.Load())
				}
				if err := s.Close(); err != nil {
					t.Error(err)
				}
				if t.Failed() {
					t.Fatalf("statement %d of %d", at, statements)
				}
			}
			t.Logf("%d statements, every %d. tried", statements, *stride)
		})
	}
}

// When nobody can say whether the transaction committed, the store says so, and the
// key finds out later.
func TestUnknownOutcome(t *testing.T) {
	t.Parallel()
	var broken atomic.Bool
	p := &proxy{decide: func(n int64, sql string) fate {
		switch {
		case broken.Load():
			return cutBefore
		case strings.EqualFold(sql, "commit"):
			return cutAfter
		}
		return pass
	}}
	address := pgtest.Shared(t).Address()
	openTest(t, address) // makes the tables
	set := usual(Options{Patience: 300 * time.Millisecond})
	set.configure = p.configure
	s := openSettings(t, address, set)
	decide := p.decide
	p.decide = func(n int64, sql string) fate {
		f := decide(n, sql)
		if f == cutAfter {
			broken.Store(true)
		}
		return f
	}
	pub := storetest.Publication(1, storetest.Put(t, storetest.Bolt(1, 60), 0))
	pub.Key = "k"
	if _, err := s.Publish(t.Context(), pub); !errors.Is(err, store.ErrUnknown) {
		t.Fatalf("Publish whose answer is lost gives %v, want %v", err, store.ErrUnknown)
	}
	if _, err := s.Head(t.Context()); err == nil || errors.Is(err, store.ErrUnknown) {
		t.Errorf("Head of a database that is away gives %v", err)
	}
	p.decide = func(int64, string) fate { return pass }
	// It had committed; publishing again under the key finds that.
	if at, err := s.Publish(t.Context(), pub); at != 1 || err != nil {
		t.Errorf("publishing again gives %d, %v; want 1", at, err)
	}
	if head, err := s.Head(t.Context()); err != nil || head.Position != 1 {
		t.Errorf("head is %+v, %v", head, err)
	}
}
