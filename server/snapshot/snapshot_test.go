package snapshot_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

func open(t *testing.T) store.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// fastener makes a document whose title says which edition it is.
func fastener(t *testing.T, id, source, title string) []byte {
	t.Helper()
	f := specdata.Fastener{
		Head:   specdata.Head{Kind: specdata.KindFastener, ID: id, Title: title},
		Place:  "rear hub",
		Joint:  specdata.JointClamp,
		Thread: &specdata.Thread{Designation: "M10", Hand: "right", Into: "steel"},
		Source: &specdata.Citation{Document: source},
	}
	return canonical(t, &f)
}

func canonical(t *testing.T, r specdata.Record) []byte {
	t.Helper()
	raw, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	b, err := document.Canonicalize(raw)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// world publishes at random and remembers every state, as an oracle.
type world struct {
	t      *testing.T
	store  store.Store
	bases  map[specdata.Name]int64
	states []map[specdata.Name]string // by position: title, "" for withdrawn
	random *rand.Rand
}

func (w *world) step() {
	w.t.Helper()
	state := maps.Clone(w.states[len(w.states)-1])
	p := store.Publication{Authors: []string{"a"}, Reviewer: "b", Reason: "test", Time: time.Unix(int64(len(w.states)), 0)}
	for _, i := range w.random.Perm(8)[:1+w.random.IntN(3)] {
		id := fmt.Sprintf("f-%d", i)
		n := specdata.NewName(specdata.KindFastener, id)
		c := store.Change{Name: n, Base: w.bases[n]}
		if state[n] != "" && w.random.IntN(4) == 0 {
			state[n] = ""
		} else {
			state[n] = fmt.Sprintf("edition %d of %s", len(w.states), id)
			c.Document = fastener(w.t, id, "s", state[n])
		}
		w.bases[n]++
		p.Changes = append(p.Changes, c)
	}
	if _, err := w.store.Publish(w.t.Context(), p); err != nil {
		w.t.Fatal(err)
	}
	w.states = append(w.states, state)
}

// Whatever was read and cached before, a snapshot gives exactly what was published
// at its position, for every record, every way of asking.
func TestSnapshotIsWhatWasPublished(t *testing.T) {
	w := &world{t: t, store: open(t), bases: map[specdata.Name]int64{}, states: []map[specdata.Name]string{{}}, random: rand.New(rand.NewPCG(1, 2))}
	follower, err := snapshot.NewFollower(t.Context(), w.store)
	if err != nil {
		t.Fatal(err)
	}
	for range 120 {
		w.step()
		for _, position := range []int64{head(t, follower), 1 + w.random.Int64N(int64(len(w.states)-1))} {
			state := w.states[position]
			s := follower.At(t.Context(), position)
			var want []string
			for i := range 8 {
				n := specdata.NewName(specdata.KindFastener, fmt.Sprintf("f-%d", i))
				title := ""
				if e := s.Get(n); e != nil {
					title = e.Record.Header().Title
				}
				if title != state[n] {
					t.Fatalf("position %d: %s is %q, want %q", position, n, title, state[n])
				}
				if state[n] != "" {
					want = append(want, state[n])
				}
			}
			var got, kin []string
			for e := range s.All(specdata.KindFastener) {
				got = append(got, e.Record.Header().Title)
				if s.Get(e.Name()) != e {
					t.Fatalf("position %d: %s is one entry when listed and another when named", position, e.Name())
				}
			}
			for _, e := range s.Alike(library.Likeness{Thread: "M10", Joint: specdata.JointClamp}, "f-x", 100) {
				kin = append(kin, e.Record.Header().Title)
			}
			if !slices.Equal(got, want) || !slices.Equal(kin, want) {
				t.Fatalf("position %d: listed %q, alike %q, want %q", position, got, kin, want)
			}
			if uses := s.Uses("sources/s"); len(uses) != len(want) {
				t.Fatalf("position %d: %d uses, want %d", position, len(uses), len(want))
			}
			if err := s.Err(); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func head(t *testing.T, follower *snapshot.Follower) int64 {
	t.Helper()
	h, err := follower.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// A reader that asks for the head after a publication was acknowledged sees it,
// with many readers and caches in between.
func TestReadersSeeWhatIsAcknowledged(t *testing.T) {
	s := open(t)
	follower, err := snapshot.NewFollower(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	name := specdata.NewName(specdata.KindFastener, "f")
	var wg sync.WaitGroup
	var mu sync.Mutex
	acknowledged := int64(0)
	stop := make(chan struct{})
	for range 4 {
		wg.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				mu.Lock()
				least := acknowledged
				mu.Unlock()
				position, err := follower.Head(t.Context())
				if err != nil {
					t.Error(err)
					return
				}
				r, err := follower.At(t.Context(), position).Record(name)
				if err != nil {
					t.Error(err)
					return
				}
				got := int64(0)
				if r != nil {
					got = r.Revision.Number
				}
				if position < least || got != position {
					t.Errorf("read position %d revision %d after %d was acknowledged", position, got, least)
					return
				}
			}
		})
	}
	for i := range int64(50) {
		_, err := s.Publish(t.Context(), store.Publication{
			Changes: []store.Change{{Name: name, Base: i, Document: fastener(t, "f", "s", fmt.Sprint("edition ", i))}},
			Authors: []string{"a"}, Reviewer: "b", Reason: "test", Time: time.Unix(i+1, 0),
		})
		if err != nil {
			t.Fatal(err)
		}
		mu.Lock()
		acknowledged = i + 1
		mu.Unlock()
	}
	close(stop)
	wg.Wait()
}

// A cache keeps to its budget and still gives what it kept.
func TestCacheIsBounded(t *testing.T) {
	s := open(t)
	follower, err := snapshot.NewFollower(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	c := snapshot.NewCache(follower, 10_000, func(v int) int { return 100 })
	for i := range 10_000 {
		n := specdata.NewName(specdata.KindFastener, fmt.Sprintf("f-%d", i))
		c.Put(n, i, nil, 0)
		if got, ok := c.Get(n, 0); !ok || got != i {
			t.Fatalf("%s: got %d, %t", n, got, ok)
		}
	}
	kept := 0
	for i := range 10_000 {
		if _, ok := c.Get(specdata.NewName(specdata.KindFastener, fmt.Sprintf("f-%d", i)), 0); ok {
			kept++
		}
	}
	if kept < 50 || kept > 100 {
		t.Errorf("kept %d values of 100 bytes in 10,000 bytes", kept)
	}
}
