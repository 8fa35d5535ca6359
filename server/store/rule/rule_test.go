package rule_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/rule"
	"proofload/server/store/storetest"
)

func TestChange(t *testing.T) {
	document := []byte("{}")
	for _, c := range []struct {
		what     string
		base     int64
		document []byte
		newest   *rule.Newest
		want     error
	}{
		{"a first revision", 0, document, nil, nil},
		{"the next", 3, document, &rule.Newest{Number: 3}, nil},
		{"a stale one", 2, document, &rule.Newest{Number: 3}, store.ErrConflict},
		{"one ahead", 4, document, &rule.Newest{Number: 3}, store.ErrConflict},
		{"a first over another", 0, document, &rule.Newest{Number: 1}, store.ErrConflict},
		{"a second of nothing", 1, document, nil, store.ErrConflict},
		{"a revival", 2, document, &rule.Newest{Number: 2, Withdrawn: true}, nil},
		{"a revival against what was withdrawn", 1, document, &rule.Newest{Number: 2, Withdrawn: true}, store.ErrConflict},
		{"a withdrawal", 3, nil, &rule.Newest{Number: 3}, nil},
		{"a withdrawal of nothing", 0, nil, nil, store.ErrNotFound},
		{"a second withdrawal", 2, nil, &rule.Newest{Number: 2, Withdrawn: true}, store.ErrNotFound},
		{"a stale withdrawal", 1, nil, &rule.Newest{Number: 2, Withdrawn: true}, store.ErrConflict},
	} {
		err := rule.Change(store.Change{Name: "fasteners/a", Base: c.base, Document: c.document}, c.newest)
		if !errors.Is(err, c.want) || c.want == nil && err != nil {
			t.Errorf("%s: %v, want %v", c.what, err, c.want)
		}
	}
}

func TestHead(t *testing.T) {
	at := func(s int64) time.Time { return time.Unix(s, 0).UTC() }
	for _, c := range []struct {
		was  store.Head
		time time.Time
		want store.Head
	}{
		{store.Head{}, at(-5), store.Head{Position: 1, Revisions: 2, Time: at(-5)}},
		{store.Head{}, time.Time{}.Add(-time.Hour), store.Head{Position: 1, Revisions: 2, Time: time.Time{}.Add(-time.Hour)}},
		{store.Head{Position: 1, Revisions: 1, Time: at(100)}, at(99), store.Head{Position: 2, Revisions: 3, Time: at(100)}},
		{store.Head{Position: 7, Revisions: 9, Time: at(100)}, at(101), store.Head{Position: 8, Revisions: 11, Time: at(101)}},
		{store.Head{Position: 7, Revisions: 9, Time: at(100)}, at(99), store.Head{Position: 8, Revisions: 11, Time: at(100)}},
		{store.Head{Position: 7, Revisions: 9, Time: at(100)}, at(100), store.Head{Position: 8, Revisions: 11, Time: at(100)}},
	} {
		if got := rule.Head(c.was, store.Publication{Time: c.time.In(time.FixedZone("", 3600))}, 2); got != c.want {
			t.Errorf("after %+v at %v: %+v, want %+v", c.was, c.time, got, c.want)
		}
	}
}

// A batch of notes weighs one, and one more for every note, every 2 KiB of body and
// every four terms: what a group of requests may hold is counted in revisions.
func TestWeight(t *testing.T) {
	note := func(bytes, terms int) store.NoteWrite {
		return store.NoteWrite{Body: make([]byte, bytes), Terms: make([]string, terms)}
	}
	for _, c := range []struct {
		writes []store.NoteWrite
		want   int
	}{
		{nil, 1}, {[]store.NoteWrite{note(0, 0)}, 2}, {[]store.NoteWrite{note(2047, 3)}, 2}, {[]store.NoteWrite{note(2048, 0)}, 3},
		{[]store.NoteWrite{note(0, 4)}, 3}, {[]store.NoteWrite{note(10*2048, 8), note(0, 0)}, 15},
	} {
		if got := rule.Weight(c.writes); got != c.want {
			t.Errorf("%d notes weigh %d, want %d", len(c.writes), got, c.want)
		}
	}
}

func TestAgain(t *testing.T) {
	a, b := storetest.Put(t, storetest.Bolt(1, 60), 0), storetest.Put(t, storetest.Bolt(2, 60), 4)
	gone := store.Change{Name: "fasteners/c", Base: 2}
	p := storetest.Publication(1, a, b, gone)
	p.Key = "k"
	contents := make([]rule.Content, 3)
	for i, c := range []store.Change{a, b} {
		var err error
		if contents[i], err = rule.Read(c.Name, c.Document); err != nil {
			t.Fatal(err)
		}
	}
	had := []rule.Published{
		{Name: a.Name, Number: 1, Hash: contents[0].Hash}, {Name: b.Name, Number: 5, Hash: contents[1].Hash}, {Name: gone.Name, Number: 3, Withdrawn: true, Hash: contents[0].Hash},
	}
	if err := rule.Again(p, contents, 9, had); err != nil {
		t.Errorf("the same changes: %v", err)
	}
	for what, spoil := range map[string]func([]rule.Published) []rule.Published{
		"fewer":              func(h []rule.Published) []rule.Published { return h[:2] },
		"more":               func(h []rule.Published) []rule.Published { return append(h, h[0]) },
		"another record":     func(h []rule.Published) []rule.Published { h[0].Name = "fasteners/z"; return h },
		"another base":       func(h []rule.Published) []rule.Published { h[1].Number = 4; return h },
		"another document":   func(h []rule.Published) []rule.Published { h[1].Hash = h[0].Hash; return h },
		"a withdrawal":       func(h []rule.Published) []rule.Published { h[0].Withdrawn = true; return h },
		"not a withdrawal":   func(h []rule.Published) []rule.Published { h[2].Withdrawn = false; return h },
		"another order":      func(h []rule.Published) []rule.Published { h[0], h[1] = h[1], h[0]; return h },
		"nothing whatsoever": func([]rule.Published) []rule.Published { return nil },
	} {
		err := rule.Again(p, contents, 9, spoil(slices.Clone(had)))
		if !errors.Is(err, store.ErrConflict) || !strings.Contains(err.Error(), "position 9") {
			t.Errorf("%s: %v, want a conflict that names the position", what, err)
		}
	}
}

func TestRepeat(t *testing.T) {
	c := storetest.Put(t, storetest.Bolt(1, 60), 0)
	good, err := rule.Read(c.Name, c.Document)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := rule.Repeat(c.Name, 1, c.Document, good.Hash); err != nil || string(again.Document) != string(c.Document) {
		t.Errorf("the stored document: %v", err)
	}
	other := storetest.Put(t, storetest.Bolt(1, 61), 0)
	if _, err := rule.Repeat(c.Name, 1, other.Document, good.Hash); !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("another document: %v, want %v", err, store.ErrCorrupt)
	}
}

// Rows of one publication after the other make the tree that all leaves at once make.
func TestRows(t *testing.T) {
	var edge ledger.Edge
	var stored []tlog.Hash
	var all ledger.Memory
	head := store.Head{}
	for n := 1; n <= 20; n++ {
		var changes []store.Change
		var contents []rule.Content
		for i := range n%4 + 1 {
			c := storetest.Put(t, storetest.Bolt(i, n), int64(n))
			content, err := rule.Read(c.Name, c.Document)
			if err != nil {
				t.Fatal(err)
			}
			changes, contents = append(changes, c), append(contents, content)
		}
		changes[0].Document = nil
		p := storetest.Publication(n, changes...)
		head = rule.Head(head, p, len(changes))
		rows, grown, err := rule.Rows(p, contents, head, edge)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range rows {
			if r.Leaf != edge.Size+int64(i) || r.Number != int64(n)+1 || r.Position != int64(n) || r.Withdrawn != (i == 0) || r.Name != changes[i].Name {
				t.Errorf("publication %d row %d: %+v", n, i, r)
			}
			for b := r.Tree; len(b) > 0; b = b[tlog.HashSize:] {
				stored = append(stored, tlog.Hash(b[:tlog.HashSize]))
			}
			if err := all.Append(ledger.NewLeaf(r.Name, r.Number, r.Position, hexOf(r.Hash), r.Withdrawn, p.Authors, p.Reviewer, p.Reason, head.Time)); err != nil {
				t.Fatal(err)
			}
		}
		edge = grown
		if edge.Size != head.Revisions {
			t.Errorf("edge of %d leaves at %+v", edge.Size, head)
		}
	}
	want, err := ledger.Root(all.Size(), &all)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := edge.Root(); err != nil || got != want {
		t.Errorf("root %x, want %x, %v", got, want, err)
	}
	for i, h := range stored {
		if got, err := all.ReadHashes([]int64{int64(i)}); err != nil || got[0] != h {
			t.Fatalf("stored hash %d differs, %v", i, err)
		}
	}
}

func hexOf(b []byte) string {
	const digits = "0123456789abcdef"
	var s strings.Builder
	for _, x := range b {
		s.WriteByte(digits[x>>4])
		s.WriteByte(digits[x&15])
	}
	return s.String()
}

func TestRelease(t *testing.T) {
	for _, c := range []struct {
		position, head, at int64
		fresh              bool
		want               error
	}{
		{3, 5, 0, true, nil}, {5, 5, 0, true, nil}, {6, 5, 0, false, store.ErrFuture}, {3, 5, 3, false, nil}, {3, 5, 4, false, store.ErrConflict}, {6, 5, 6, false, store.ErrFuture},
	} {
		fresh, err := rule.Release(store.Release{Name: "r", Position: c.position}, c.head, c.at)
		if fresh != c.fresh || !errors.Is(err, c.want) || c.want == nil && err != nil {
			t.Errorf("%+v: %v, %v", c, fresh, err)
		}
	}
}

func TestNote(t *testing.T) {
	for _, c := range []struct {
		base, version, current, want int64
		conflict                     bool
	}{
		{0, 0, 0, 1, false}, {0, 0, 1, 0, true}, {2, 0, 2, 3, false}, {1, 0, 2, 0, true}, {3, 0, 2, 0, true},
		{store.AnyVersion, 0, 0, 1, false}, {store.AnyVersion, 0, 9, 10, false},
		{0, 7, 0, 7, false}, {2, 7, 2, 7, false}, {store.AnyVersion, 7, 7, 0, true}, {store.AnyVersion, 7, 8, 0, true},
	} {
		w, err := rule.Note(store.NoteWrite{Space: "s", Key: "k", Base: c.base, Version: c.version, Terms: []string{"b", "a", "b"}}, c.current)
		if errors.Is(err, store.ErrConflict) != c.conflict || !c.conflict && (err != nil || w.Version != c.want || !slices.Equal(w.Terms, []string{"a", "b"})) {
			t.Errorf("%+v: %+v, %v", c, w, err)
		}
	}
}
