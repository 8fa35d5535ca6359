package feed

import (
	"context"
	"fmt"

	"proofload/server/store"
)

// Cursor is a place in the log: between two revisions.
type Cursor struct {
	// Position is the last publication that is wholly behind the cursor.
	Position int64
	// Leaf is the ledger index of the next revision.
	Leaf int64
	// Inside says that some of the publication after Position is behind the cursor too.
	Inside bool
}

// CursorAt returns the cursor behind a position; the errors are those of the store's HeadAt.
func CursorAt(ctx context.Context, s store.Store, position int64) (Cursor, error) {
	head, err := s.HeadAt(ctx, position)
	return Cursor{Position: position, Leaf: head.Revisions}, err
}

// ReadLog returns up to n revisions (1 to store.MaxLimit) from a cursor on, but none
// behind end, and the cursor behind them. Whole publications are read at once; one of
// more than n revisions, as a bulk import makes, is read in parts, so that nobody has
// to hold all of it.
func ReadLog(ctx context.Context, s store.Store, c Cursor, end store.Head, n int) ([]*store.Revision, Cursor, error) {
	if c.Position >= end.Position {
		return nil, c, nil
	}
	next, err := s.HeadAt(ctx, c.Position+1)
	if err != nil {
		return nil, c, err
	}
	left := next.Revisions - c.Leaf
	if !c.Inside && left <= int64(n) {
		revs, err := s.Log(ctx, c.Position, end.Position, n)
		if err != nil {
			return nil, c, err
		}
		if len(revs) == 0 || revs[0].Leaf != c.Leaf {
			return nil, c, fmt.Errorf("log: %w: it does not go on at revision %d after position %d", store.ErrCorrupt, c.Leaf, c.Position)
		}
		return revs, Cursor{Position: revs[len(revs)-1].Position, Leaf: c.Leaf + int64(len(revs))}, nil
	}
	revs := make([]*store.Revision, 0, min(left, int64(n)))
	for len(revs) < cap(revs) {
		r, err := s.Leaf(ctx, c.Leaf)
		if err != nil {
			return nil, c, err
		}
		revs = append(revs, r)
		c.Leaf++
	}
	if c.Inside = c.Leaf < next.Revisions; !c.Inside {
		c.Position++
	}
	return revs, c, nil
}
