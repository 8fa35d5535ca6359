package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proofload/server/store"
)

func (w *world) write(writes ...store.NoteWrite) {
	w.t.Helper()
	if err := w.WriteNotes(w.ctx, writes); err != nil {
		w.t.Fatalf("WriteNotes: %v", err)
	}
}

func (w *world) note(key string) *store.Note {
	w.t.Helper()
	n, err := w.GetNote(w.ctx, "corrections", key)
	if err != nil {
		w.t.Fatalf("GetNote(%s): %v", key, err)
	}
	return n
}

func (w *world) noNote(key string) {
	w.t.Helper()
	_, err := w.GetNote(w.ctx, "corrections", key)
	w.wantErr("GetNote of "+key, err, store.ErrNotFound)
}

func (w *world) keys(q store.NoteQuery) string {
	w.t.Helper()
	if q.Space == "" {
		q.Space = "corrections"
	}
	if q.Limit == 0 {
		q.Limit = 100
	}
	ns, err := w.ListNotes(w.ctx, q)
	if err != nil {
		w.t.Fatalf("ListNotes(%+v): %v", q, err)
	}
	var keys []string
	for _, n := range ns {
		keys = append(keys, n.Key)
	}
	return strings.Join(keys, " ")
}

// Notes are written, changed and removed; their versions count the writes.
func notes(t *testing.T, w *world) {
	w.noNote("c1")
	equal(t, "notes of an empty store", w.keys(store.NoteQuery{}), "")
	cet := time.FixedZone("", 3600)
	first := noteWrite("c1", 0, "one\x00\xff", "open", "by=Zoë", "open", "a b=c")
	first.Time = Epoch.Add(7).In(cet)
	w.write(first)
	want := &store.Note{Space: "corrections", Key: "c1", Version: 1, Terms: []string{"a b=c", "by=Zoë", "open"}, Body: []byte("one\x00\xff"), Time: Epoch.Add(7)}
	equal(t, "the note", w.note("c1"), want)
	w.write(noteWrite("c1", 1, "two"))
	want = &store.Note{Space: "corrections", Key: "c1", Version: 2, Terms: []string{}, Body: []byte("two"), Time: Epoch}
	equal(t, "the note written again", w.note("c1"), want)
	// A body may be empty, and is then still a note.
	empty := noteWrite("c1", 2, "")
	empty.Body = []byte{}
	w.write(empty)
	if n := w.note("c1"); n.Version != 3 || n.Body == nil || len(n.Body) != 0 {
		t.Errorf("the note with an empty body is %+v", n)
	}
	w.write(noteWrite("c1", store.AnyVersion, "four"))
	equal(t, "version after a write of any base", w.note("c1").Version, int64(4))
	w.write(noteWrite("c1", 4, ""))
	w.noNote("c1")
	w.write(noteWrite("c1", 0, "new"))
	equal(t, "version of a key that was removed", w.note("c1").Version, int64(1))
	w.write(noteWrite("c1", store.AnyVersion, ""), noteWrite("never", store.AnyVersion, ""), noteWrite("never-2", 0, ""))
	w.noNote("c1")
	w.write(noteWrite("c2", store.AnyVersion, "one"))
	equal(t, "version of a new key with any base", w.note("c2").Version, int64(1))
	// A copy of a store gives versions itself.
	copied := noteWrite("c2", 1, "copied")
	copied.Version = 7
	w.write(copied)
	equal(t, "version that was given", w.note("c2").Version, int64(7))
	w.write(noteWrite("c2", 7, "eight"))
	equal(t, "version after one that was given", w.note("c2").Version, int64(8))
	// One key in two spaces is two notes, and neither is in the log.
	other := noteWrite("c2", 0, "elsewhere")
	other.Space = "tokens"
	w.write(other)
	equal(t, "the note of the same key", string(w.note("c2").Body), "eight")
	w.write()
	equal(t, "head", w.head(), store.Head{})
	spaces, err := w.NoteSpaces(w.ctx)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "spaces", spaces, []string{"corrections", "tokens"})
	w.write(noteWrite("c2", 8, ""))
	if spaces, err = w.NoteSpaces(w.ctx); err != nil {
		t.Fatal(err)
	}
	equal(t, "spaces when one is empty", spaces, []string{"tokens"})
	w.sound()
}

// Writes are applied together or not at all, and only against the version that stands.
func noteConflict(t *testing.T, w *world) {
	w.write(noteWrite("a", 0, "one", "open"), noteWrite("b", 0, "one"))
	w.write(noteWrite("a", 1, "two", "open"))
	version := func(w store.NoteWrite, v int64) store.NoteWrite { w.Version = v; return w }
	for _, c := range []struct {
		write   store.NoteWrite
		current int64
	}{
		{noteWrite("a", 0, "x"), 2}, {noteWrite("a", 1, "x"), 2}, {noteWrite("a", 3, "x"), 2}, {noteWrite("a", 1, ""), 2},
		{noteWrite("none", 1, "x"), 0}, {noteWrite("none", 2, ""), 0}, {version(noteWrite("a", store.AnyVersion, "x"), 2), 2},
	} {
		for _, writes := range [][]store.NoteWrite{{noteWrite("b", 1, "spoilt", "open"), noteWrite("c", 0, "spoilt", "open"), c.write}, {c.write, noteWrite("b", 1, "")}} {
			err := w.WriteNotes(w.ctx, writes)
			w.wantErr("WriteNotes against a stale version", err, store.ErrConflict)
			var got *store.NoteConflict
			if !errors.As(err, &got) {
				t.Fatalf("the conflict is %T (%v), want a *store.NoteConflict", err, err)
			}
			equal(t, "conflict", *got, store.NoteConflict{Space: "corrections", Key: c.write.Key, Base: c.write.Base, Current: c.current})
		}
	}
	equal(t, "the note that would have been spoilt", string(w.note("b").Body), "one")
	w.noNote("c")
	equal(t, "open notes", w.keys(store.NoteQuery{Term: "open"}), "a")
	w.sound()
}

func noteLists(t *testing.T, w *world) {
	terms := map[string][]string{"a": {"open", "x"}, "a/1": {"open"}, "b": {"x"}, "é": {"open", "x"}, "B": {"open"}, "z": nil, "a-long-one": {"open"}}
	var writes []store.NoteWrite
	for _, key := range slices.Sorted(func(yield func(string) bool) {
		for k := range terms {
			if !yield(k) {
				return
			}
		}
	}) {
		writes = append(writes, noteWrite(key, 0, "body of "+key, terms[key]...))
	}
	other := noteWrite("m", 0, "elsewhere", "open")
	other.Space = "tokens"
	w.write(append(writes, other)...)
	for _, c := range []struct {
		q    store.NoteQuery
		want string
	}{
		{store.NoteQuery{}, "B a a-long-one a/1 b z é"}, // in order of bytes
		{store.NoteQuery{Descending: true}, "é z b a/1 a-long-one a B"},
		{store.NoteQuery{Term: "open"}, "B a a-long-one a/1 é"},
		{store.NoteQuery{Term: "open", Descending: true}, "é a/1 a-long-one a B"},
		{store.NoteQuery{Term: "x"}, "a b é"},
		{store.NoteQuery{Term: "ope"}, ""},
		{store.NoteQuery{Term: "OPEN"}, ""},
		{store.NoteQuery{After: "a"}, "a-long-one a/1 b z é"},
		{store.NoteQuery{After: "a0"}, "b z é"},
		{store.NoteQuery{After: "é"}, ""},
		{store.NoteQuery{After: "a", Descending: true}, "B"},
		{store.NoteQuery{After: "B", Descending: true}, ""},
		{store.NoteQuery{Term: "open", After: "a"}, "a-long-one a/1 é"},
		{store.NoteQuery{Term: "open", After: "a/1", Descending: true}, "a-long-one a B"},
		{store.NoteQuery{Limit: 2}, "B a"},
		{store.NoteQuery{Term: "x", Limit: 2, Descending: true}, "é b"},
		{store.NoteQuery{Space: "tokens"}, "m"},
		{store.NoteQuery{Space: "none"}, ""},
	} {
		if got := w.keys(c.q); got != c.want {
			t.Errorf("ListNotes(%+v) gives %q, want %q", c.q, got, c.want)
		}
	}
	// A listing holds the notes whole, and pages join.
	ns, err := w.ListNotes(w.ctx, store.NoteQuery{Space: "corrections", Term: "open", Limit: 1, After: "B"})
	if err != nil || len(ns) != 1 {
		t.Fatalf("ListNotes gives %v, %v", ns, err)
	}
	equal(t, "the note that is listed", ns[0], w.note("a"))
	for _, descending := range []bool{false, true} {
		for limit := 1; limit <= 8; limit++ {
			q := store.NoteQuery{Term: "open", Descending: descending, Limit: limit}
			var pages []string
			for {
				page := w.keys(q)
				if page == "" {
					break
				}
				pages = append(pages, page)
				keys := strings.Fields(page)
				q.After = keys[len(keys)-1]
			}
			want := map[bool]string{false: "B a a-long-one a/1 é", true: "é a/1 a-long-one a B"}[descending]
			equal(t, "pages", strings.Join(pages, " "), want)
		}
	}
	// What a note is listed by changes with it and goes with it.
	w.write(noteWrite("a", 1, "again", "x", "y"), noteWrite("b", 1, ""))
	for term, want := range map[string]string{"open": "B a-long-one a/1 é", "x": "a é", "y": "a"} {
		equal(t, "notes listed by "+term, w.keys(store.NoteQuery{Term: term}), want)
	}
	if err := w.Rebuild(w.ctx); err != nil {
		t.Fatal(err)
	}
	equal(t, "notes listed by x after rebuilding", w.keys(store.NoteQuery{Term: "x"}), "a é")
	w.sound()
}

// What is not in order is refused, with nothing written.
func notesRefused(t *testing.T, w *world) {
	good := noteWrite("good", 0, "x")
	with := func(change func(*store.NoteWrite)) store.NoteWrite {
		n := noteWrite("bad", 0, "x", "term")
		change(&n)
		return n
	}
	long := strings.Repeat("k", store.MaxKey+1)
	var many []string
	for i := range store.MaxTerms + 1 {
		many = append(many, fmt.Sprint(i))
	}
	for what, bad := range map[string]store.NoteWrite{
		"no space":            with(func(n *store.NoteWrite) { n.Space = "" }),
		"a bad space":         with(func(n *store.NoteWrite) { n.Space = "Bad Space" }),
		"no key":              with(func(n *store.NoteWrite) { n.Key = "" }),
		"a long key":          with(func(n *store.NoteWrite) { n.Key = long }),
		"a key of no text":    with(func(n *store.NoteWrite) { n.Key = "\xff" }),
		"a key with zero":     with(func(n *store.NoteWrite) { n.Key = "a\x00" }),
		"no time":             with(func(n *store.NoteWrite) { n.Time = time.Time{} }),
		"a base of -2":        with(func(n *store.NoteWrite) { n.Base = -2 }),
		"a version too small": with(func(n *store.NoteWrite) { n.Base, n.Version = 3, 3 }),
		"a negative version":  with(func(n *store.NoteWrite) { n.Version = -1 }),
		"many terms":          with(func(n *store.NoteWrite) { n.Terms = many }),
		"an empty term":       with(func(n *store.NoteWrite) { n.Terms = []string{""} }),
		"a long term":         with(func(n *store.NoteWrite) { n.Terms = []string{long} }),
		"a term of no text":   with(func(n *store.NoteWrite) { n.Terms = []string{"\xff"} }),
		"a large body":        with(func(n *store.NoteWrite) { n.Body = make([]byte, store.MaxNote+1) }),
		"a note twice":        good,
	} {
		w.wantErr("WriteNotes with "+what, w.WriteNotes(w.ctx, []store.NoteWrite{good, bad}), store.ErrInvalid)
		w.unchanged("Publish with notes with "+what, store.ErrInvalid, func() error {
			p := Publication(1, w.put(Bolt(1, 60), 0))
			p.Notes = func(int64, time.Time) ([]store.NoteWrite, error) { return []store.NoteWrite{good, bad}, nil }
			_, err := w.Publish(w.ctx, p)
			return err
		})
	}
	w.noNote("good")
	for what, q := range map[string]store.NoteQuery{
		"no space":         {Limit: 1},
		"a bad space":      {Space: "Bad Space", Limit: 1},
		"limit 0":          {Space: "corrections"},
		"limit 1001":       {Space: "corrections", Limit: store.MaxLimit + 1},
		"a term of zero":   {Space: "corrections", Term: "\x00", Limit: 1},
		"after of no text": {Space: "corrections", After: "\xff", Limit: 1},
	} {
		_, err := w.ListNotes(w.ctx, q)
		w.wantErr("ListNotes with "+what, err, store.ErrInvalid)
	}
	_, err := w.GetNote(w.ctx, "Bad Space", "x")
	w.wantErr("GetNote of a bad space", err, store.ErrNotFound)
	// As much as is allowed is taken.
	key := strings.Repeat("é", store.MaxKey/2)
	body := bytes.Repeat([]byte{0, 1, 0xff}, store.MaxNote/3)
	w.write(store.NoteWrite{Space: "corrections", Key: key, Terms: append(many[:store.MaxTerms-1:store.MaxTerms-1], strings.Repeat("t", store.MaxKey)), Body: body, Time: Epoch})
	if n := w.note(key); !bytes.Equal(n.Body, body) || len(n.Terms) != store.MaxTerms {
		t.Errorf("the largest note comes back with %d bytes and %d terms", len(n.Body), len(n.Terms))
	}
	w.sound()
}

// A publication's notes are written with it, or neither is.
func publicationNotes(t *testing.T, w *world) {
	w.publish(w.put(Bolt(9, 60), 0)) // minute 1
	type told struct {
		position int64
		time     time.Time
	}
	var asked []told
	publication := func(n int, change store.Change, give func(position int64) []store.NoteWrite) store.Publication {
		p := Publication(n, change)
		p.Notes = func(position int64, made time.Time) ([]store.NoteWrite, error) {
			asked = append(asked, told{position, made})
			return give(position), nil
		}
		return p
	}
	accept := publication(0, w.put(Bolt(1, 60), 0), func(position int64) []store.NoteWrite {
		return []store.NoteWrite{noteWrite("c1", 0, fmt.Sprint("published at ", position), "published"), noteWrite("c2", store.AnyVersion, "")}
	})
	accept.Key = "c1"
	at, err := w.Publish(w.ctx, accept)
	if err != nil || at != 2 {
		t.Fatalf("Publish with notes gives %d, %v", at, err)
	}
	// It is told the time that the publication got, which is not the one it asked for.
	for _, a := range asked {
		equal(t, "what the notes were told", a, told{2, Publication(1).Time})
	}
	if len(asked) == 0 {
		t.Error("the notes were not asked for")
	}
	equal(t, "the note", string(w.note("c1").Body), "published at 2")
	// A second try under the key writes nothing and asks for nothing.
	w.write(noteWrite("c1", 1, "moved on"))
	asked = nil
	if at, err := w.Publish(w.ctx, accept); at != 2 || err != nil || len(asked) > 0 {
		t.Errorf("publishing again under a key gives %d, %v and asks for notes %d times", at, err, len(asked))
	}
	equal(t, "the note after publishing again", string(w.note("c1").Body), "moved on")
	// A note that moved, or an error of who gives them, refuses the publication.
	stale := publication(3, w.put(Bolt(2, 60), 0), func(int64) []store.NoteWrite {
		return []store.NoteWrite{noteWrite("c3", 0, "spoilt"), noteWrite("c1", 1, "spoilt")}
	})
	stale.Key = "c3"
	w.unchanged("Publish with a stale note", store.ErrConflict, func() error {
		_, err := w.Publish(w.ctx, stale)
		var got *store.NoteConflict
		if !errors.As(err, &got) || *got != (store.NoteConflict{Space: "corrections", Key: "c1", Base: 1, Current: 2}) {
			t.Errorf("the conflict is %T: %v", err, err)
		}
		return err
	})
	w.noNote("c3")
	sorry := errors.New("no notes today")
	w.unchanged("Publish with notes that fail", sorry, func() error {
		p := Publication(3, w.put(Bolt(2, 60), 0))
		p.Notes = func(int64, time.Time) ([]store.NoteWrite, error) { return nil, sorry }
		_, err := w.Publish(w.ctx, p)
		return err
	})
	// A conflict of the record leaves the notes alone, and a refused one its key.
	w.unchanged("Publish of a stale change with notes", store.ErrConflict, func() error {
		_, err := w.Publish(w.ctx, publication(3, w.put(Bolt(1, 61), 0), func(int64) []store.NoteWrite { return []store.NoteWrite{noteWrite("c3", 0, "spoilt")} }))
		return err
	})
	w.noNote("c3")
	fresh := publication(3, w.put(Bolt(2, 60), 0), func(int64) []store.NoteWrite { return []store.NoteWrite{noteWrite("c3", 0, "good")} })
	fresh.Key = "c3"
	if at, err := w.Publish(w.ctx, fresh); at != 3 || err != nil {
		t.Errorf("Publish under a key that was refused gives %d, %v", at, err)
	}
	equal(t, "the note", string(w.note("c3").Body), "good")
	none := publication(4, w.put(Bolt(3, 60), 0), func(int64) []store.NoteWrite { return nil })
	if at, err := w.Publish(w.ctx, none); at != 4 || err != nil {
		t.Errorf("Publish with no notes after all gives %d, %v", at, err)
	}
	w.sound()
}

// The store keeps nothing of what it is given and returns nothing it keeps.
func ownNotes(t *testing.T, w *world) {
	write := noteWrite("a", 0, "body", "z", "b")
	w.write(write)
	equal(t, "the caller's terms", write.Terms, []string{"z", "b"})
	write.Body[0], write.Terms[0] = 'x', "x"
	for range 2 {
		n := w.note("a")
		if string(n.Body) != "body" || !slices.Equal(n.Terms, []string{"b", "z"}) {
			t.Fatalf("the stored note changed with the caller's memory: %+v", n)
		}
		n.Body[0], n.Terms[0] = 'y', "y"
	}
	w.sound()
}

// Many count up a shared note, each with a note of its own and some with a
// publication: no count is lost, and what belongs together is seen together.
func notesConcurrent(t *testing.T, w *world) {
	const writers, each = 6, 12
	var wg sync.WaitGroup
	for n := range writers {
		wg.Go(func() {
			for i := range each {
				for {
					base, count := int64(0), 0
					switch shared, err := w.GetNote(w.ctx, "corrections", "shared"); {
					case err == nil:
						base = shared.Version
						if _, err := fmt.Sscan(string(shared.Body), &count); err != nil {
							t.Error(err)
							return
						}
					case !errors.Is(err, store.ErrNotFound):
						t.Error(err)
						return
					}
					writes := []store.NoteWrite{noteWrite("shared", base, fmt.Sprint(count+1)), noteWrite(fmt.Sprintf("own-%d-%02d", n, i), 0, "x", "own")}
					err := error(nil)
					if i%2 == 0 {
						p := Publication(i, Put(t, Bolt(1000*(n+1)+i, 60), 0))
						p.Notes = func(int64, time.Time) ([]store.NoteWrite, error) { return writes, nil }
						_, err = w.Publish(w.ctx, p)
					} else {
						err = w.WriteNotes(w.ctx, writes)
					}
					if errors.Is(err, store.ErrConflict) {
						continue
					}
					if err != nil {
						t.Error(err)
						return
					}
					break
				}
			}
		})
	}
	wg.Wait()
	shared := w.note("shared")
	if string(shared.Body) != fmt.Sprint(writers*each) || shared.Version != writers*each {
		t.Errorf("%d writes counted to %s, version %d: an update is lost", writers*each, shared.Body, shared.Version)
	}
	equal(t, "own notes", len(strings.Fields(w.keys(store.NoteQuery{Term: "own"}))), writers*each)
	equal(t, "positions", w.head().Position, int64(writers*each/2))
	w.sound()
}
