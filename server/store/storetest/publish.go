package storetest

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/specdata"
)

func empty(t *testing.T, w *world) {
	equal(t, "head of an empty store", w.head(), store.Head{})
	at, err := w.Resolve(w.ctx, store.AtHead())
	if at != 0 || err != nil {
		t.Errorf("Resolve of the head of an empty store gives %d, %v; want 0", at, err)
	}
	_, err = w.Resolve(w.ctx, store.AtPosition(1))
	w.wantErr("Resolve of position 1", err, store.ErrFuture)
	_, err = w.Resolve(w.ctx, store.AtTime(Epoch))
	w.wantErr("Resolve of a time", err, store.ErrNotFound)
	_, err = w.Get(w.ctx, "fasteners/none", 0)
	w.wantErr("Get at position 0", err, store.ErrNotFound)
	_, err = w.Get(w.ctx, "fasteners/none", 1)
	w.wantErr("Get at position 1", err, store.ErrFuture)
	_, err = w.Get(w.ctx, "fasteners/none", -1)
	w.wantErr("Get at position -1", err, store.ErrInvalid)
	_, err = w.GetRevision(w.ctx, "fasteners/none", 1)
	w.wantErr("GetRevision", err, store.ErrNotFound)
	_, err = w.Revisions(w.ctx, "fasteners/none", 0, 0, 10)
	w.wantErr("Revisions", err, store.ErrNotFound)
	rs, err := w.List(w.ctx, store.Query{Kind: specdata.KindFastener, Limit: 10}, 0)
	if len(rs) != 0 || err != nil {
		t.Errorf("List gives %d records, %v; want none", len(rs), err)
	}
	rs, err = w.Log(w.ctx, 0, 0, 10)
	if len(rs) != 0 || err != nil {
		t.Errorf("Log gives %d revisions, %v; want none", len(rs), err)
	}
	_, err = w.Log(w.ctx, 0, 1, 10)
	w.wantErr("Log up to position 1", err, store.ErrFuture)
	hits, err := w.Search(w.ctx, "hub nut", "", 10)
	if len(hits) != 0 || err != nil {
		t.Errorf("Search gives %d hits, %v; want none", len(hits), err)
	}
	w.sound()
}

func publish(t *testing.T, w *world) {
	nut := Fastener("quill-1-rear-hub-nut", "Stub-axle collar nut", "rear hub", "M24x1.5", specdata.JointBearing, 240, "quill-chassis", "quill-1")
	p := Publication(1, w.put(nut, 0))
	p.Authors = []string{"ada", "Zoë \"Z\"", "bo\u2028x"}
	p.Reason = "first entry, <checked> & read back"
	at, err := w.Publish(w.ctx, p)
	if err != nil || at != 1 {
		t.Fatalf("the first Publish gives %d, %v; want position 1", at, err)
	}
	want := &store.Revision{
		Name: "fasteners/quill-1-rear-hub-nut", Number: 1, Position: 1, Document: p.Changes[0].Document, Hash: hashOf(p.Changes[0].Document),
		Authors: p.Authors, Reviewer: "ben", Reason: p.Reason, Time: p.Time,
	}
	equal(t, "Get", w.get(want.Name, 1), want)
	r, err := w.GetRevision(w.ctx, want.Name, 1)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "GetRevision", r, want)
	for what, list := range map[string]func() ([]*store.Revision, error){
		"Revisions": func() ([]*store.Revision, error) { return w.Revisions(w.ctx, want.Name, 1, 0, 10) },
		"List": func() ([]*store.Revision, error) {
			return w.List(w.ctx, store.Query{Kind: specdata.KindFastener, Limit: 10}, 1)
		},
		"Log": func() ([]*store.Revision, error) { return w.Log(w.ctx, 0, 1, 10) },
	} {
		rs, err := list()
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		equal(t, what, rs, []*store.Revision{want})
	}
	equal(t, "head", w.head(), store.Head{Position: 1, Revisions: 1, Time: p.Time})
	w.sound()
}

// Positions count from 1 without gaps, revisions of all records are counted.
func positions(t *testing.T, w *world) {
	revisions := int64(0)
	for i := 1; i <= 10; i++ {
		var changes []store.Change
		for j := range i%3 + 1 {
			changes = append(changes, w.put(Bolt(100*i+j, 60), 0))
		}
		revisions += int64(len(changes))
		if at := w.publish(changes...); at != int64(i) {
			t.Fatalf("publication %d took position %d", i, at)
		}
		if h := w.head(); h.Position != int64(i) || h.Revisions != revisions {
			t.Errorf("head after publication %d is %+v, want %d revisions", i, h, revisions)
		}
	}
	w.sound()
}

// Times never go backwards, and keep their nanoseconds.
func times(t *testing.T, w *world) {
	at := func(d time.Duration) time.Time { return Epoch.Add(d) }
	cet := time.FixedZone("", 3600)
	given := []time.Time{at(0), at(time.Hour), at(time.Minute), at(time.Hour), at(time.Hour + 1), at(2 * time.Hour).In(cet)}
	kept := []time.Time{at(0), at(time.Hour), at(time.Hour), at(time.Hour), at(time.Hour + 1), at(2 * time.Hour)}
	for i, g := range given {
		p := Publication(0, w.put(Bolt(i, 60), 0))
		p.Time = g
		if _, err := w.Publish(w.ctx, p); err != nil {
			t.Fatal(err)
		}
		r := w.get(p.Changes[0].Name, int64(i+1))
		if r.Time != kept[i] {
			t.Errorf("publication %d made at %s is kept as %s, want %s", i+1, g, r.Time, kept[i])
		}
		if h := w.head(); h.Time != kept[i] {
			t.Errorf("head after publication %d has time %s, want %s", i+1, h.Time, kept[i])
		}
	}
	for _, c := range []struct {
		t    time.Time
		want int64
	}{
		{at(0), 1}, {at(1), 1}, {at(time.Hour - 1), 1}, {at(time.Hour), 4}, {at(time.Hour + 1), 5}, {at(2*time.Hour - 1), 5},
		{at(2 * time.Hour), 6}, {at(2 * time.Hour).In(cet), 6}, {at(1000 * time.Hour), 6}, {time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC), 6},
	} {
		if got, err := w.Resolve(w.ctx, store.AtTime(c.t)); got != c.want || err != nil {
			t.Errorf("Resolve of %s gives %d, %v; want %d", c.t, got, err, c.want)
		}
	}
	for _, early := range []time.Time{at(-1), time.Date(1, 1, 1, 0, 0, 0, 1, time.UTC)} {
		_, err := w.Resolve(w.ctx, store.AtTime(early))
		w.wantErr("Resolve of "+early.String(), err, store.ErrNotFound)
	}
	w.sound()
}

// What is not in order is refused, with nothing written.
func refused(t *testing.T, w *world) {
	w.publish(w.put(Bolt(1, 60), 0))
	good := w.put(Bolt(2, 60), 0)
	for what, p := range map[string]store.Publication{
		"no change":              Publication(2),
		"no time":                {Changes: []store.Change{good}},
		"a time out of range":    {Changes: []store.Change{good}, Time: time.Date(3000, 1, 1, 0, 0, 0, 0, time.UTC)},
		"one record twice":       Publication(2, good, good),
		"a negative base":        Publication(2, store.Change{Name: good.Name, Base: -1, Document: good.Document}),
		"a bad name":             Publication(2, store.Change{Name: "fasteners/Bad Name", Document: good.Document}),
		"no such collection":     Publication(2, store.Change{Name: "people/ada", Document: good.Document}),
		"another record's name":  Publication(2, store.Change{Name: "fasteners/other", Document: good.Document}),
		"another kind's name":    Publication(2, store.Change{Name: specdata.Name("assemblies/" + good.Name.ID()), Document: good.Document}),
		"a document of no JSON":  Publication(2, store.Change{Name: good.Name, Document: []byte("kind: fastener")}),
		"a document cut short":   Publication(2, store.Change{Name: good.Name, Document: good.Document[:len(good.Document)-1]}),
		"an empty document":      Publication(2, store.Change{Name: good.Name, Document: []byte{}}),
		"an author of no text":   {Changes: []store.Change{good}, Time: Epoch, Authors: []string{"ada", "\xff"}},
		"a reviewer with zero":   {Changes: []store.Change{good}, Time: Epoch, Reviewer: "b\x00n"},
		"a reason of no text":    {Changes: []store.Change{good}, Time: Epoch, Reason: "\xc3\x28"},
		"a key of no text":       {Changes: []store.Change{good}, Time: Epoch, Key: "\xff"},
		"a key that is too long": {Changes: []store.Change{good}, Time: Epoch, Key: strings.Repeat("k", store.MaxKey+1)},
	} {
		w.unchanged("Publish with "+what, store.ErrInvalid, func() error { _, err := w.Publish(w.ctx, p); return err })
	}
	for what, call := range map[string]func() error{
		"List of no kind": func() error { _, err := w.List(w.ctx, store.Query{Limit: 1}, 1); return err },
		"List of limit 0": func() error {
			_, err := w.List(w.ctx, store.Query{Kind: specdata.KindFastener}, 1)
			return err
		},
		"List of limit 1001": func() error {
			_, err := w.List(w.ctx, store.Query{Kind: specdata.KindFastener, Limit: store.MaxLimit + 1}, 1)
			return err
		},
		"List after and before": func() error {
			_, err := w.List(w.ctx, store.Query{Kind: specdata.KindFastener, After: "a", Before: "b", Limit: 1}, 1)
			return err
		},
		"Revisions of limit 0":  func() error { _, err := w.Revisions(w.ctx, good.Name, 1, 0, 0); return err },
		"Log of limit 0":        func() error { _, err := w.Log(w.ctx, 0, 1, 0); return err },
		"Log after -1":          func() error { _, err := w.Log(w.ctx, -1, 1, 1); return err },
		"Search of limit 0":     func() error { _, err := w.Search(w.ctx, "bolt", "", 0); return err },
		"Search of a bad kind":  func() error { _, err := w.Search(w.ctx, "bolt", "people", 1); return err },
		"Search of many words":  func() error { _, err := w.Search(w.ctx, words(40), "", 1); return err },
		"Resolve of 0":          func() error { _, err := w.Resolve(w.ctx, store.AtPosition(0)); return err },
		"Resolve of nothing":    func() error { _, err := w.Resolve(w.ctx, store.At{}); return err },
		"Resolve of -1":         func() error { _, err := w.Resolve(w.ctx, store.AtPosition(-1)); return err },
		"Resolve of no time":    func() error { _, err := w.Resolve(w.ctx, store.AtTime(time.Time{})); return err },
		"Resolve of a bad name": func() error { _, err := w.Resolve(w.ctx, store.AtRelease("a\x00")); return err },
		"a release of no name":  func() error { return w.SetRelease(w.ctx, store.Release{Position: 1, Time: Epoch}) },
		"a release of bad name": func() error { return w.SetRelease(w.ctx, store.Release{Name: "a b", Position: 1, Time: Epoch}) },
		"a release of 0":        func() error { return w.SetRelease(w.ctx, store.Release{Name: "a", Time: Epoch}) },
		"a release of no text": func() error {
			return w.SetRelease(w.ctx, store.Release{Name: "a", Position: 1, Time: Epoch, Note: "\xff"})
		},
		"a release of no time": func() error { return w.SetRelease(w.ctx, store.Release{Name: "a", Position: 1}) },
	} {
		w.unchanged(what, store.ErrInvalid, call)
	}
	w.sound()
}

func words(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(strings.Repeat("x", i+1) + " ")
	}
	return b.String()
}

// A change must be against the record's current revision number.
func conflict(t *testing.T, w *world) {
	a, b, gone := Bolt(1, 60), Bolt(2, 60), Bolt(3, 60)
	w.publish(w.put(a, 0), w.put(gone, 0))
	w.publish(w.put(a, 1))
	w.publish(w.withdraw(gone.Name(), 1))
	for _, c := range []struct {
		r             specdata.Record
		base, current int64
	}{
		{a, 0, 2}, {a, 1, 2}, {a, 3, 2}, {b, 1, 0}, {gone, 0, 2}, {gone, 1, 2},
	} {
		for _, change := range []store.Change{w.put(c.r, c.base), w.withdraw(c.r.Name(), c.base)} {
			w.unchanged("Publish against a stale base", store.ErrConflict, func() error {
				_, err := w.Publish(w.ctx, Publication(9, change))
				var got *store.Conflict
				if !errors.As(err, &got) {
					t.Errorf("conflict is %T (%v), want a *store.Conflict", err, err)
				} else if want := (store.Conflict{Name: c.r.Name(), Base: c.base, Current: c.current}); *got != want {
					t.Errorf("conflict says %+v, want %+v", *got, want)
				}
				return err
			})
		}
	}
	w.sound()
}

// Withdrawing repeats the document; publishing over it continues the numbers.
func withdrawAndRevive(t *testing.T, w *world) {
	old, again := Bolt(1, 60), Bolt(1, 65)
	name := old.Name()
	w.unchanged("withdrawing what never was", store.ErrNotFound, func() error {
		_, err := w.Publish(w.ctx, Publication(1, w.withdraw(name, 0)))
		return err
	})
	w.publish(w.put(old, 0))
	w.publish(w.withdraw(name, 1))
	w.unchanged("withdrawing twice", store.ErrNotFound, func() error {
		_, err := w.Publish(w.ctx, Publication(3, w.withdraw(name, 2)))
		return err
	})
	gone := w.get(name, 2)
	if !gone.Withdrawn || gone.Number != 2 || !bytes.Equal(gone.Document, Canonical(t, old)) || gone.Hash != hashOf(gone.Document) {
		t.Errorf("the withdrawal is revision %d, withdrawn %t, with document %s; want revision 2 with the document it withdrew", gone.Number, gone.Withdrawn, gone.Document)
	}
	if r := w.get(name, 1); r.Withdrawn || r.Number != 1 {
		t.Errorf("the record before its withdrawal is %+v", r)
	}
	q := store.Query{Kind: specdata.KindFastener, Limit: 10}
	for at, want := range []int{0, 1, 0} {
		rs, err := w.List(w.ctx, q, int64(at))
		if len(rs) != want || err != nil {
			t.Errorf("List at position %d gives %d records, %v; want %d", at, len(rs), err, want)
		}
	}
	w.publish(w.put(again, 2))
	if r := w.get(name, 3); r.Withdrawn || r.Number != 3 || !bytes.Equal(r.Document, Canonical(t, again)) {
		t.Errorf("the revived record is %+v, want revision 3 in force", r)
	}
	w.publish(w.withdraw(name, 3))
	if r := w.get(name, 4); !r.Withdrawn || !bytes.Equal(r.Document, Canonical(t, again)) {
		t.Errorf("the second withdrawal is %+v, want the document it withdrew", r)
	}
	w.sound()
}

// A publication of many records is applied whole or not at all.
func atomicPublication(t *testing.T, w *world) {
	a, b := Bolt(1, 60), Bolt(2, 60)
	w.publish(w.put(a, 0))
	for _, order := range [][]store.Change{
		{w.put(b, 0), w.put(a, 0)},
		{w.put(a, 0), w.put(b, 0)},
		{w.put(b, 0), w.withdraw("fasteners/none", 0)},
	} {
		if _, err := w.Publish(w.ctx, Publication(2, order...)); err == nil {
			t.Fatal("a publication with a stale part was accepted")
		}
		_, err := w.Get(w.ctx, b.Name(), 1)
		w.wantErr("Get of the part that was in order", err, store.ErrNotFound)
		equal(t, "head", w.head().Position, 1)
	}
	c := Bolt(3, 60)
	at := w.publish(w.put(c, 0), w.put(b, 0), w.withdraw(a.Name(), 1))
	rs, err := w.Log(w.ctx, at-1, at, 10)
	if err != nil {
		t.Fatal(err)
	}
	// The order of the changes is the order of the ledger.
	equal(t, "names in the log", names(rs), []specdata.Name{c.Name(), b.Name(), a.Name()})
	for _, r := range rs {
		if r.Position != at {
			t.Errorf("%s has position %d, want %d", r.Name, r.Position, at)
		}
	}
	w.sound()
}

// A key names a publication once.
func keys(t *testing.T, w *world) {
	a, b := Bolt(1, 60), Bolt(2, 60)
	p := Publication(1, w.put(a, 0), w.put(b, 0))
	p.Key = "correction-1"
	first, err := w.Publish(w.ctx, p)
	if err != nil {
		t.Fatal(err)
	}
	w.publish(w.put(a, 1))
	before := w.head()
	p.Time = p.Time.Add(time.Hour) // a second try comes later
	if again, err := w.Publish(w.ctx, p); again != first || err != nil {
		t.Errorf("publishing again under a key gives %d, %v; want %d", again, err, first)
	}
	equal(t, "head after publishing again", w.head(), before)
	for what, changes := range map[string][]store.Change{
		"fewer changes":     {w.put(a, 0)},
		"the other half":    {w.put(b, 0)},
		"more changes":      {w.put(a, 0), w.put(b, 0), w.put(Bolt(3, 60), 0)},
		"another order":     {w.put(b, 0), w.put(a, 0)},
		"another document":  {w.put(Bolt(1, 61), 0), w.put(b, 0)},
		"another base":      {w.put(a, 1), w.put(b, 0)},
		"a withdrawal":      {w.withdraw(a.Name(), 0), w.put(b, 0)},
		"something else":    {w.put(Bolt(4, 60), 0)},
		"the wrong records": {w.put(Bolt(5, 60), 0), w.put(Bolt(6, 60), 0)},
	} {
		w.unchanged("a used key with "+what, store.ErrConflict, func() error {
			p := Publication(3, changes...)
			p.Key = "correction-1"
			_, err := w.Publish(w.ctx, p)
			return err
		})
	}
	// Withdrawals have keys as well, and a refused publication does not use its key up.
	p = Publication(4, w.withdraw(b.Name(), 7))
	p.Key = "correction-2"
	w.unchanged("a stale publication with a key", store.ErrConflict, func() error { _, err := w.Publish(w.ctx, p); return err })
	p.Changes[0].Base = 1
	second, err := w.Publish(w.ctx, p)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := w.Publish(w.ctx, p); again != second || err != nil {
		t.Errorf("withdrawing again under a key gives %d, %v; want %d", again, err, second)
	}
	w.sound()
}

// The store keeps nothing of what it is given and returns nothing it keeps.
func ownMemory(t *testing.T, w *world) {
	c := w.put(Bolt(1, 60), 0)
	want := slices.Clone(c.Document)
	p := Publication(1, c)
	w.publish(c)
	for i := range c.Document {
		c.Document[i] = 'x'
	}
	p.Authors[0] = "eve"
	for range 2 {
		r := w.get(c.Name, 1)
		if !bytes.Equal(r.Document, want) || r.Authors[0] != "ada" {
			t.Fatalf("the stored revision changed with the caller's memory: %s by %v", r.Document, r.Authors)
		}
		for i := range r.Document {
			r.Document[i] = 'y'
		}
		r.Authors[0] = "eve"
	}
	w.sound()
}

// A large publication is one position.
func large(t *testing.T, w *world) {
	const n = 3000
	var changes []store.Change
	for i := range n {
		changes = append(changes, w.put(Bolt(i, 60), 0))
	}
	w.publish(changes...)
	equal(t, "head", w.head(), store.Head{Position: 1, Revisions: n, Time: Epoch.Add(time.Minute)})
	rs, err := w.Log(w.ctx, 0, 1, 1)
	if err != nil || len(rs) != n {
		t.Fatalf("Log gives %d revisions, %v; want the whole position, %d", len(rs), err, n)
	}
	for i, r := range rs {
		if r.Name != changes[i].Name {
			t.Fatalf("revision %d of the log is of %s, want %s", i, r.Name, changes[i].Name)
		}
	}
	w.sound()
}

func cancelled(t *testing.T, w *world) {
	c := w.put(Bolt(1, 60), 0)
	w.publish(c)
	ctx, cancel := context.WithCancel(w.ctx)
	cancel()
	for what, call := range map[string]func() error{
		"Publish":     func() error { _, err := w.Publish(ctx, Publication(2, w.put(Bolt(2, 60), 0))); return err },
		"Head":        func() error { _, err := w.Head(ctx); return err },
		"Resolve":     func() error { _, err := w.Resolve(ctx, store.AtTime(Epoch.Add(time.Minute))); return err },
		"Get":         func() error { _, err := w.Get(ctx, c.Name, 1); return err },
		"GetRevision": func() error { _, err := w.GetRevision(ctx, c.Name, 1); return err },
		"Revisions":   func() error { _, err := w.Revisions(ctx, c.Name, 1, 0, 1); return err },
		"List":        func() error { _, err := w.List(ctx, store.Query{Kind: specdata.KindFastener, Limit: 1}, 1); return err },
		"Uses":        func() error { _, err := w.Uses(ctx, "sources/quill-chassis", 1); return err },
		"Search":      func() error { _, err := w.Search(ctx, "bolt", "", 1); return err },
		"Log":         func() error { _, err := w.Log(ctx, 0, 1, 1); return err },
		"SetRelease":  func() error { return w.SetRelease(ctx, store.Release{Name: "r1", Position: 1, Time: Epoch}) },
		"Releases":    func() error { _, err := w.Releases(ctx); return err },
		"HeadAt":      func() error { _, err := w.HeadAt(ctx, 1); return err },
		"Await":       func() error { _, err := w.Await(ctx, 1); return err },
		"Leaf":        func() error { _, err := w.Leaf(ctx, 0); return err },
		"Hashes":      func() error { _, err := w.Hashes(ctx, []int64{0}); return err },
		"WriteNotes":  func() error { return w.WriteNotes(ctx, []store.NoteWrite{noteWrite("a", 0, "x")}) },
		"GetNote":     func() error { _, err := w.GetNote(ctx, "corrections", "a"); return err },
		"ListNotes":   func() error { _, err := w.ListNotes(ctx, store.NoteQuery{Space: "corrections", Limit: 1}); return err },
		"NoteSpaces":  func() error { _, err := w.NoteSpaces(ctx); return err },
		"Check":       func() error { return w.Check(ctx) },
		"Rebuild":     func() error { return w.Rebuild(ctx) },
	} {
		w.unchanged(what+" with a cancelled context", context.Canceled, call)
	}
	late, cancel := context.WithDeadline(w.ctx, time.Now().Add(-time.Second))
	defer cancel()
	_, err := w.Get(late, c.Name, 1)
	w.wantErr("Get past its deadline", err, context.DeadlineExceeded)
	// The store works on.
	w.publish(w.put(Bolt(2, 60), 0))
	w.sound()
}
