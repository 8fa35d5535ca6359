package storetest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"proofload/server/store"
	"proofload/specdata"
)

// Many publish at once, to records of their own and to shared ones. Anyone who reads
// meanwhile sees a prefix, which only ever grows.
func concurrent(t *testing.T, w *world) {
	const writers, each, shared = 8, 16, 3
	var wg sync.WaitGroup
	var mu sync.Mutex
	acknowledged := map[int64]store.Change{}
	for n := range writers {
		wg.Go(func() {
			for i := range each {
				own := Put(t, Bolt(1000*(n+1)+i, 60), 0)
				common := Bolt(i%shared, 100*n+i+1)
				change := store.Change{Name: common.Name(), Document: Canonical(t, common)}
				for {
					head, err := w.Head(w.ctx)
					if err != nil {
						t.Error(err)
						return
					}
					switch r, err := w.Get(w.ctx, change.Name, head.Position); {
					case err == nil:
						change.Base = r.Number
					case !errors.Is(err, store.ErrNotFound):
						t.Error(err)
						return
					}
					at, err := w.Publish(w.ctx, Publication(i, own, change))
					if errors.Is(err, store.ErrConflict) {
						continue
					}
					if err != nil {
						t.Error(err)
						return
					}
					if at <= head.Position {
						t.Errorf("a publication took position %d although the head was at %d before", at, head.Position)
					}
					// Once it is acknowledged it is there for every read.
					if r, err := w.Get(w.ctx, own.Name, at); err != nil || r.Position != at {
						t.Errorf("Get of what was just published at %d gives %+v, %v", at, r, err)
					}
					mu.Lock()
					acknowledged[at] = change
					mu.Unlock()
					break
				}
			}
		})
	}
	var done atomic.Bool
	var readers sync.WaitGroup
	for range 3 {
		readers.Go(func() {
			for last := int64(0); ; {
				stop := done.Load()
				next, err := followLog(w.ctx, w, last)
				if err != nil {
					t.Error(err)
					return
				}
				if moved := next > last; stop && !moved {
					if last != writers*each {
						t.Errorf("a reader that follows the log ends at position %d, want %d", last, writers*each)
					}
					return
				}
				last = next
			}
		})
	}
	readers.Go(func() {
		for !done.Load() {
			if err := lookAround(w.ctx, w); err != nil {
				t.Error(err)
				return
			}
		}
	})
	wg.Wait()
	done.Store(true)
	readers.Wait()
	equal(t, "head", w.head().Position, int64(writers*each))
	numbers := map[specdata.Name]int64{}
	for at := int64(1); at <= writers*each; at++ {
		change, ok := acknowledged[at]
		if !ok {
			t.Fatalf("position %d was given to nobody", at)
		}
		if numbers[change.Name] != change.Base {
			t.Errorf("position %d changed %s at revision %d, which was at %d: an update is lost", at, change.Name, change.Base, numbers[change.Name])
		}
		numbers[change.Name]++
		if r := w.get(change.Name, at); r.Hash != hashOf(change.Document) || r.Number != change.Base+1 || r.Position != at {
			t.Errorf("position %d holds revision %d of %s, which is not what was published there", at, r.Number, r.Name)
		}
	}
	w.sound()
}

// followLog reads what is new behind a position and checks that it is whole and in order.
func followLog(ctx context.Context, s store.Store, last int64) (int64, error) {
	head, err := s.Head(ctx)
	if err != nil {
		return last, err
	}
	if head.Position < last {
		return last, fmt.Errorf("the head went back to position %d after %d was seen", head.Position, last)
	}
	rs, err := s.Log(ctx, last, head.Position, 10)
	if err != nil {
		return last, err
	}
	if len(rs) == 0 && head.Position > last {
		return last, fmt.Errorf("the head is at %d but the log has nothing behind %d", head.Position, last)
	}
	for i, r := range rs {
		// Every publication of this test has two revisions.
		if r.Position != last+1+int64(i)/2 {
			return last, fmt.Errorf("revision %d behind position %d is of position %d", i, last, r.Position)
		}
	}
	if len(rs) > 0 {
		last = rs[len(rs)-1].Position
	}
	return last, nil
}

// lookAround lists and searches while others publish. At every position there is one
// record more that is nobody else's, besides a few that are shared.
func lookAround(ctx context.Context, s store.Store) error {
	head, err := s.Head(ctx)
	if err != nil {
		return err
	}
	whole := func(what string, names []specdata.Name, least, most int64) error {
		seen := map[specdata.Name]bool{}
		own := int64(0)
		for _, n := range names {
			if seen[n] {
				return fmt.Errorf("%s gives %s twice", what, n)
			}
			seen[n] = true
			if n >= Bolt(1000, 0).Name() {
				own++
			}
		}
		if own < least || own > most {
			return fmt.Errorf("%s, with the head at %d, gives %d records; want %d to %d", what, head.Position, own, least, most)
		}
		return nil
	}
	rs, err := s.List(ctx, store.Query{Kind: specdata.KindFastener, Vehicle: "quill-1", Limit: store.MaxLimit}, head.Position)
	if err != nil {
		return err
	}
	if err := whole("List", names(rs), head.Position, head.Position); err != nil {
		return err
	}
	hits, err := s.Search(ctx, "carrier bolt", specdata.KindFastener, store.MaxLimit)
	if err != nil {
		return err
	}
	after, err := s.Head(ctx)
	if err != nil {
		return err
	}
	var found []specdata.Name
	for _, h := range hits {
		found = append(found, h.Name)
	}
	for _, r := range rs {
		if !slices.Contains(found, r.Name) {
			return fmt.Errorf("Search does not give %s, which List had before", r.Name)
		}
	}
	// A search is for the head, which moves meanwhile; what is published at this very
	// moment may be seen before its position is.
	return whole("Search", found, head.Position, after.Position+64)
}

// Rebuilding changes no answer.
func rebuild(t *testing.T, w *world) {
	stock(w)
	type answers struct {
		Lists  [][]string
		Uses   [][]specdata.Name
		Search [][]store.Hit
		Head   store.Head
	}
	ask := func() (a answers) {
		for at := int64(0); at <= 3; at++ {
			for _, q := range []store.Query{{}, {Vehicle: "quill-1"}, {Place: "rear hub", Withdrawn: true}, {Thread: "M12x1.5"}} {
				for _, k := range specdata.Kinds {
					q.Kind = k
					a.Lists = append(a.Lists, w.list(q, at))
				}
			}
			for _, n := range []specdata.Name{"vehicles/quill-1", "sources/quill-chassis"} {
				ns, err := w.Uses(w.ctx, n, at)
				if err != nil {
					t.Fatal(err)
				}
				a.Uses = append(a.Uses, ns)
			}
		}
		for _, text := range []string{"rear hub", "carrier", "bolt", "quill"} {
			hits, err := w.Store.Search(w.ctx, text, "", 10)
			if err != nil {
				t.Fatal(err)
			}
			a.Search = append(a.Search, hits)
		}
		a.Head = w.head()
		return a
	}
	before := ask()
	for range 2 {
		if err := w.Rebuild(w.ctx); err != nil {
			t.Fatal(err)
		}
		equal(t, "answers after rebuilding", ask(), before)
		w.sound()
	}
	w.publish(w.withdraw("fasteners/c-wheel-bolt", 1))
	w.sound()
}

func closed(t *testing.T, w *world) {
	w.publish(w.put(Bolt(1, 60), 0))
	for range 2 {
		if err := w.Close(); err != nil {
			t.Fatalf("Close: %v", err)
		}
	}
	name := Bolt(1, 0).Name()
	for what, call := range map[string]func() error{
		"Publish": func() error { _, err := w.Publish(w.ctx, Publication(2, w.put(Bolt(2, 60), 0))); return err },
		"Head":    func() error { _, err := w.Head(w.ctx); return err },
		"Resolve": func() error { _, err := w.Resolve(w.ctx, store.AtHead()); return err },
		"Get":     func() error { _, err := w.Get(w.ctx, name, 1); return err },
		"List": func() error {
			_, err := w.List(w.ctx, store.Query{Kind: specdata.KindFastener, Limit: 1}, 1)
			return err
		},
		"Log":        func() error { _, err := w.Log(w.ctx, 0, 1, 1); return err },
		"Search":     func() error { _, err := w.Search(w.ctx, "bolt", "", 1); return err },
		"SetRelease": func() error { return w.SetRelease(w.ctx, store.Release{Name: "r1", Position: 1, Time: Epoch}) },
		"HeadAt":     func() error { _, err := w.HeadAt(w.ctx, 1); return err },
		"Await":      func() error { _, err := w.Await(w.ctx, 1); return err },
		"Leaf":       func() error { _, err := w.Leaf(w.ctx, 0); return err },
		"Hashes":     func() error { _, err := w.Hashes(w.ctx, []int64{0}); return err },
		"WriteNotes": func() error { return w.WriteNotes(w.ctx, []store.NoteWrite{noteWrite("a", 0, "x")}) },
		"GetNote":    func() error { _, err := w.GetNote(w.ctx, "corrections", "a"); return err },
		"ListNotes": func() error {
			_, err := w.ListNotes(w.ctx, store.NoteQuery{Space: "corrections", Limit: 1})
			return err
		},
		"NoteSpaces": func() error { _, err := w.NoteSpaces(w.ctx); return err },
		"Check":      func() error { return w.Check(w.ctx) },
		"Rebuild":    func() error { return w.Rebuild(w.ctx) },
	} {
		w.wantErr(what+" after Close", call(), store.ErrClosed)
	}
}
