package transfer

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
)

// Copied is what a store holds that was copied into.
type Copied struct {
	store.Head
	// Root is the root of its ledger's tree, which is that of the store it was copied from.
	Root [32]byte
	// Releases and Notes count what is beside the log.
	Releases, Notes int
}

// Copy moves everything that one store holds into another of any kind: the log
// position by position, with its times, people, reasons and keys, the releases and
// the notes with their versions. In the end both have the same head and the same
// root of the ledger's tree, which it compares.
//
// The other store is empty, or holds the beginning of the same history, as a copy
// that was interrupted leaves it: Copy then goes on from there. It fails with an
// ErrConflict where the other holds anything else. What is written to the first
// store meanwhile is copied as well, as far as it goes; for a true copy of the notes
// nothing should be.
func Copy(ctx context.Context, from, to store.Store) (Copied, error) {
	var done Copied
	for {
		source, err := from.Head(ctx)
		if err != nil {
			return done, err
		}
		if done.Head, err = to.Head(ctx); err != nil {
			return done, err
		}
		if done.Root, err = sameHistory(ctx, from, to, source, done.Head); err != nil {
			return done, err
		}
		if done.Position == source.Position {
			break
		}
		if err := copyLog(ctx, from, to, done.Position, source.Position); err != nil {
			return done, err
		}
	}
	var err error
	if done.Releases, err = copyReleases(ctx, from, to, done.Position); err != nil {
		return done, err
	}
	done.Notes, err = copyNotes(ctx, from, to)
	return done, err
}

// sameHistory fails unless what a store holds is the beginning of what another does.
// It returns the root of the one's tree.
func sameHistory(ctx context.Context, from, to store.Store, source, target store.Head) (root [32]byte, err error) {
	other := func(what string) error {
		return fmt.Errorf("store to copy into: %w: it holds another history, %s; copy into an empty store", store.ErrConflict, what)
	}
	if target.Position > source.Position {
		return root, other(fmt.Sprintf("of %d positions where the first has %d", target.Position, source.Position))
	}
	then, err := from.HeadAt(ctx, target.Position)
	if err != nil {
		return root, err
	}
	if then != target {
		return root, other(fmt.Sprintf("with %d revisions at position %d where the first has %d, or at other times", target.Revisions, target.Position, then.Revisions))
	}
	want, err := ledger.Root(then.Revisions, hashesOf(ctx, from))
	if err != nil {
		return root, err
	}
	got, err := ledger.Root(target.Revisions, hashesOf(ctx, to))
	if err == nil && got != want {
		err = other(fmt.Sprintf("which differs by position %d", target.Position))
	}
	return got, err
}

// hashesOf reads a store's tree as package ledger does.
func hashesOf(ctx context.Context, s store.Store) ledger.Hashes {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		hs, err := s.Hashes(ctx, indexes)
		out := make([]tlog.Hash, len(hs))
		for i, h := range hs {
			out[i] = h
		}
		return out, err
	})
}

func copyLog(ctx context.Context, from, to store.Store, after, upTo int64) error {
	for after < upTo {
		rs, err := from.Log(ctx, after, upTo, store.MaxLimit)
		if err != nil {
			return err
		}
		for len(rs) > 0 {
			n := 1
			for n < len(rs) && rs[n].Position == rs[0].Position {
				n++
			}
			if err := copyPosition(ctx, to, rs[:n]); err != nil {
				return err
			}
			after, rs = rs[0].Position, rs[n:]
		}
	}
	return nil
}

func copyPosition(ctx context.Context, to store.Store, rs []*store.Revision) error {
	first := rs[0]
	p := store.Publication{Authors: first.Authors, Reviewer: first.Reviewer, Reason: first.Reason, Time: first.Time, Key: first.Key}
	for _, r := range rs {
		c := store.Change{Name: r.Name, Base: r.Number - 1, Document: r.Document}
		if r.Withdrawn {
			c.Document = nil
		}
		p.Changes = append(p.Changes, c)
	}
	at, err := to.Publish(ctx, p)
	if err != nil {
		return fmt.Errorf("copying position %d: %w", first.Position, err)
	}
	if at != first.Position {
		return fmt.Errorf("copying position %d: %w: it became position %d, somebody else writes to the store; copy into one that nobody has open", first.Position, store.ErrConflict, at)
	}
	return nil
}

func copyReleases(ctx context.Context, from, to store.Store, upTo int64) (int, error) {
	rs, err := from.Releases(ctx)
	if err != nil {
		return 0, err
	}
	n := 0
	for _, r := range rs {
		if r.Position > upTo {
			continue
		}
		if err := to.SetRelease(ctx, r); err != nil {
			return n, fmt.Errorf("copying release %s: %w", r.Name, err)
		}
		n++
	}
	return n, nil
}

// copyNotes makes the notes of a store those of another, and returns their number.
func copyNotes(ctx context.Context, from, to store.Store) (int, error) {
	mine, err := from.NoteSpaces(ctx)
	if err != nil {
		return 0, err
	}
	theirs, err := to.NoteSpaces(ctx)
	if err != nil {
		return 0, err
	}
	n := 0
	spaces := slices.Sorted(slices.Values(slices.Concat(mine, theirs)))
	for _, space := range slices.Compact(spaces) {
		if err := copySpace(ctx, from, to, space, &n); err != nil {
			return n, fmt.Errorf("copying notes of %s: %w", space, err)
		}
	}
	return n, nil
}

// copySpace goes through a space of both stores in order of key.
func copySpace(ctx context.Context, from, to store.Store, space string, n *int) error {
	source, target := notePages{s: from, space: space}, notePages{s: to, space: space}
	b := noteBatch{to: to}
	for {
		want, err := source.peek(ctx)
		if err != nil {
			return err
		}
		had, err := target.peek(ctx)
		if err != nil {
			return err
		}
		order := 0
		switch {
		case want == nil && had == nil:
			return b.flush(ctx)
		case had == nil:
			order = -1
		case want == nil:
			order = 1
		default:
			order = cmp.Compare(want.Key, had.Key)
		}
		if order >= 0 {
			target.next()
		}
		if order <= 0 {
			source.next()
			*n++
		}
		if order == 0 && sameNote(want, had) {
			continue
		}
		// What is there and not the same goes first: a version may be smaller than it was.
		if order >= 0 {
			if err := b.add(ctx, store.NoteWrite{Space: space, Key: had.Key, Base: had.Version, Time: had.Time}); err != nil {
				return err
			}
		}
		if order == 0 {
			if err := b.flush(ctx); err != nil {
				return err
			}
		}
		if order <= 0 {
			w := store.NoteWrite{Space: space, Key: want.Key, Terms: want.Terms, Body: want.Body, Time: want.Time, Version: want.Version}
			if err := b.add(ctx, w); err != nil {
				return err
			}
		}
	}
}

func sameNote(a, b *store.Note) bool {
	return a.Version == b.Version && slices.Equal(a.Terms, b.Terms) && string(a.Body) == string(b.Body) && a.Time.Equal(b.Time)
}

// notePages reads a space page by page. Pages are short, as notes may be large.
type notePages struct {
	s     store.Store
	space string
	page  []*store.Note
	after string
	end   bool
}

// peek returns the note that next passes, nil at the end.
func (p *notePages) peek(ctx context.Context) (*store.Note, error) {
	const size = 16
	if len(p.page) == 0 && !p.end {
		var err error
		if p.page, err = p.s.ListNotes(ctx, store.NoteQuery{Space: p.space, After: p.after, Limit: size}); err != nil {
			return nil, err
		}
		p.end = len(p.page) < size
	}
	if len(p.page) == 0 {
		return nil, nil
	}
	return p.page[0], nil
}

func (p *notePages) next() { p.after, p.page = p.page[0].Key, p.page[1:] }

// noteBatch writes notes some at a time.
type noteBatch struct {
	to     store.Store
	writes []store.NoteWrite
	bytes  int
}

func (b *noteBatch) add(ctx context.Context, w store.NoteWrite) error {
	b.writes = append(b.writes, w)
	if b.bytes += len(w.Body); len(b.writes) < 256 && b.bytes < 1<<20 {
		return nil
	}
	return b.flush(ctx)
}

func (b *noteBatch) flush(ctx context.Context) error {
	err := b.to.WriteNotes(ctx, b.writes)
	b.writes, b.bytes = nil, 0
	return err
}
