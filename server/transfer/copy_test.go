package transfer_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/store"
	"proofload/server/store/storetest"
	"proofload/server/transfer"
)

// lived fills a store as use does: records published, changed, withdrawn and revived,
// some with a key, releases, notes that were written several times and removed.
func lived(t testing.TB, s store.Store, positions int) {
	t.Helper()
	ctx := t.Context()
	for i := range positions {
		at := store.Publication{Authors: []string{"ada", fmt.Sprint("author ", i%3)}, Reviewer: "Zoë", Reason: fmt.Sprintf("position %d", i+1), Time: storetest.Epoch.Add(time.Duration(i/2) * time.Second)}
		if i%3 == 0 {
			at.Key = fmt.Sprint("key-", i)
		}
		at.Changes = append(at.Changes, storetest.Put(t, storetest.Bolt(100+i, i+1), 0))
		switch number := int64(i); i % 3 {
		case 2:
			at.Changes = append(at.Changes, store.Change{Name: storetest.Bolt(1, 1).Name(), Base: number})
		default:
			at.Changes = append(at.Changes, storetest.Put(t, storetest.Bolt(1, i+1), number))
		}
		if _, err := s.Publish(ctx, at); err != nil {
			t.Fatal(err)
		}
		write := store.NoteWrite{Space: "corrections", Key: fmt.Sprintf("c%02d", i%7), Base: store.AnyVersion, Terms: []string{"open", fmt.Sprint("n", i)}, Body: fmt.Appendf(nil, "note %d", i), Time: at.Time}
		other := store.NoteWrite{Space: "tokens", Key: fmt.Sprint("t", i), Body: []byte{}, Time: at.Time}
		gone := store.NoteWrite{Space: "tokens", Key: fmt.Sprint("t", i-2), Base: store.AnyVersion, Time: at.Time}
		if err := s.WriteNotes(ctx, []store.NoteWrite{write, other, gone}); err != nil {
			t.Fatal(err)
		}
	}
	for i := 1; i <= positions; i += 5 {
		if err := s.SetRelease(ctx, store.Release{Name: fmt.Sprint("r", i), Position: int64(i), Note: "spring", By: "ada", Time: storetest.Epoch}); err != nil {
			t.Fatal(err)
		}
	}
}

// sameInAll compares everything that two stores hold.
func sameInAll(t testing.TB, a, b store.Store) {
	t.Helper()
	ctx := t.Context()
	everything := func(s store.Store) string {
		var out bytes.Buffer
		head, err := s.Head(ctx)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintln(&out, head)
		for after := int64(0); after < head.Position; {
			rs, err := s.Log(ctx, after, head.Position, store.MaxLimit)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range rs {
				fmt.Fprintf(&out, "%+v\n", *r)
				after = r.Position
			}
		}
		var xs []int64
		for x := range tlog.StoredHashCount(head.Revisions) {
			xs = append(xs, x)
		}
		hs, err := s.Hashes(ctx, xs)
		if err != nil {
			t.Fatal(err)
		}
		releases, err := s.Releases(ctx)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&out, "%x\n%+v\n", hs, releases)
		spaces, err := s.NoteSpaces(ctx)
		if err != nil {
			t.Fatal(err)
		}
		for _, space := range spaces {
			ns, err := s.ListNotes(ctx, store.NoteQuery{Space: space, Limit: store.MaxLimit})
			if err != nil {
				t.Fatal(err)
			}
			for _, n := range ns {
				fmt.Fprintf(&out, "%+v\n", *n)
			}
		}
		return out.String()
	}
	as, bs := strings.Split(everything(a), "\n"), strings.Split(everything(b), "\n")
	for i := range min(len(as), len(bs)) {
		if as[i] != bs[i] {
			t.Fatalf("line %d of what the stores hold:\n%s\n%s", i, as[i], bs[i])
		}
	}
	if len(as) != len(bs) {
		t.Fatalf("the stores hold %d and %d lines", len(as), len(bs))
	}
	for _, s := range []store.Store{a, b} {
		if err := s.Check(ctx); err != nil {
			t.Error(err)
		}
	}
}

func TestCopy(t *testing.T) {
	for _, positions := range []int{0, 1, 40} {
		from, to := openStore(t), openStore(t)
		lived(t, from, positions)
		done, err := transfer.Copy(t.Context(), from, to)
		if err != nil {
			t.Fatal(err)
		}
		sameInAll(t, from, to)
		if head, err := from.Head(t.Context()); err != nil || done.Head != head || done.Releases != (positions+4)/5 {
			t.Errorf("the copy is said to be %+v; the store is at %+v, %v", done, head, err)
		}
		// Again is no copy more, and what came meanwhile is.
		late := storetest.Publication(999, storetest.Put(t, storetest.Bolt(999, 1), 0))
		for range 2 {
			again, err := transfer.Copy(t.Context(), from, to)
			if err != nil {
				t.Fatal(err)
			}
			if again.Position != done.Position {
				t.Errorf("copying again ends at %d, want %d", again.Position, done.Position)
			}
			sameInAll(t, from, to)
			if _, err := from.Publish(t.Context(), late); err != nil {
				t.Fatal(err)
			}
			if late.Changes[0].Base > 0 {
				break
			}
			if err := from.WriteNotes(t.Context(), []store.NoteWrite{
				{Space: "corrections", Key: "c00", Base: store.AnyVersion, Time: storetest.Epoch},
				{Space: "corrections", Key: "d", Body: []byte("new"), Time: storetest.Epoch},
			}); err != nil {
				t.Fatal(err)
			}
			done.Position++
			late.Changes[0].Base++
		}
	}
}

// stops fails every write from the n-th on, as a copy does that is interrupted.
type stops struct {
	store.Store
	left int
}

var errStopped = errors.New("stopped")

func (s *stops) step() error {
	if s.left--; s.left < 0 {
		return errStopped
	}
	return nil
}

func (s *stops) Publish(ctx context.Context, p store.Publication) (int64, error) {
	if err := s.step(); err != nil {
		return 0, err
	}
	return s.Store.Publish(ctx, p)
}

func (s *stops) SetRelease(ctx context.Context, r store.Release) error {
	if err := s.step(); err != nil {
		return err
	}
	return s.Store.SetRelease(ctx, r)
}

func (s *stops) WriteNotes(ctx context.Context, ws []store.NoteWrite) error {
	if err := s.step(); err != nil {
		return err
	}
	return s.Store.WriteNotes(ctx, ws)
}

// A copy that was interrupted, however often and wherever, goes on.
func TestCopyGoesOn(t *testing.T) {
	from, to := openStore(t), openStore(t)
	lived(t, from, 12)
	// A note that a first try copied and that became younger since.
	if err := to.WriteNotes(t.Context(), []store.NoteWrite{
		{Space: "corrections", Key: "c00", Body: []byte("older"), Version: 99, Time: storetest.Epoch},
		{Space: "corrections", Key: "gone", Body: []byte("removed since"), Time: storetest.Epoch},
		{Space: "ghosts", Key: "g", Body: []byte("removed since"), Time: storetest.Epoch},
	}); err != nil {
		t.Fatal(err)
	}
	tries := 1
	for ; ; tries++ {
		_, err := transfer.Copy(t.Context(), from, &stops{to, tries})
		if err == nil {
			break
		}
		if !errors.Is(err, errStopped) || tries > 30 {
			t.Fatal(err)
		}
	}
	if tries < 4 {
		t.Errorf("the copy was whole after %d tries, too few to mean something", tries)
	}
	sameInAll(t, from, to)
}

// A store with a history of its own is not copied into.
func TestCopyRefuses(t *testing.T) {
	ctx := t.Context()
	from := openStore(t)
	lived(t, from, 5)
	other := func(change func(*store.Publication)) store.Store {
		s := openStore(t)
		rs, err := from.Log(ctx, 0, 1, 10)
		if err != nil {
			t.Fatal(err)
		}
		p := store.Publication{Authors: rs[0].Authors, Reviewer: rs[0].Reviewer, Reason: rs[0].Reason, Time: rs[0].Time, Key: rs[0].Key}
		for _, r := range rs {
			p.Changes = append(p.Changes, store.Change{Name: r.Name, Document: r.Document})
		}
		change(&p)
		if _, err := s.Publish(ctx, p); err != nil {
			t.Fatal(err)
		}
		return s
	}
	longer := openStore(t)
	lived(t, longer, 6)
	for what, to := range map[string]store.Store{
		"longer":          longer,
		"another reason":  other(func(p *store.Publication) { p.Reason = "mine" }),
		"another author":  other(func(p *store.Publication) { p.Authors = nil }),
		"another time":    other(func(p *store.Publication) { p.Time = p.Time.Add(1) }),
		"fewer records":   other(func(p *store.Publication) { p.Changes = p.Changes[:1] }),
		"another order":   other(func(p *store.Publication) { slices.Reverse(p.Changes) }),
		"another content": other(func(p *store.Publication) { p.Changes[0] = storetest.Put(t, storetest.Bolt(100, 99), 0) }),
	} {
		before, err := to.Head(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := transfer.Copy(ctx, from, to); !errors.Is(err, store.ErrConflict) || !strings.Contains(err.Error(), "another history") {
			t.Errorf("copying into a store that is %s gives %v", what, err)
		}
		if after, err := to.Head(ctx); err != nil || after != before {
			t.Errorf("copying into a store that is %s moved it to %+v, %v", what, after, err)
		}
	}
	if _, err := transfer.Copy(ctx, from, other(func(*store.Publication) {})); err != nil {
		t.Errorf("copying into the beginning of the same history: %v", err)
	}
}
