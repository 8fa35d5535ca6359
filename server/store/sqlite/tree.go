package sqlite

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"github.com/ncruces/go-sqlite3"
	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/specdata"
)

// ReadHashes implements ledger.Hashes.
func (c *conn) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		var err error
		if out[i], err = readHash(c, x); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// readHash reads one hash of the tree, from the row of the leaf that completed its
// subtree.
func readHash(c *conn, index int64) (h tlog.Hash, err error) {
	level, n := tlog.SplitStoredHashIndex(index)
	leaf := (n + 1) << level
	there := false
	err = c.q(`SELECT tree FROM revision WHERE leaf = $1`).int(leaf).each(func(r *sqlite3.Stmt) error {
		if row := r.ColumnRawBlob(0); len(row) == ledger.Completes(leaf-1)*tlog.HashSize {
			there = true
			copy(h[:], row[level*tlog.HashSize:])
		}
		return nil
	})
	if err == nil && !there {
		err = fmt.Errorf("ledger: %w: the row of leaf %d lacks its hashes; restore the store from a backup", store.ErrCorrupt, leaf-1)
	}
	return h, err
}

// fillTree grows the tree over a log that was written before it was kept.
func fillTree(ctx context.Context, c *conn) error {
	const share = 1024
	e := ledger.Edge{}
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		var leaves []ledger.Leaf
		err := c.q(`SELECT r.name, r.number, r.position, r.withdrawn, r.hash, p.authors, p.reviewer, p.reason, p.time FROM revision AS r
			JOIN revision AS p ON p.leaf = r.origin WHERE r.leaf > $1 ORDER BY r.leaf LIMIT $2`).int(e.Size).int(share).each(func(r *sqlite3.Stmt) error {
			var authors []string
			if err := json.Unmarshal(r.ColumnRawText(5), &authors); err != nil {
				return fmt.Errorf("position %d: %w: its authors cannot be read: %v", r.ColumnInt64(2), store.ErrCorrupt, err)
			}
			leaves = append(leaves, ledger.NewLeaf(specdata.Name(r.ColumnText(0)), r.ColumnInt64(1), r.ColumnInt64(2), hex.EncodeToString(r.ColumnRawBlob(4)), r.ColumnBool(3),
				authors, r.ColumnText(6), r.ColumnText(7), fromNanos(r.ColumnInt64(8))))
			return nil
		})
		if err != nil || len(leaves) == 0 {
			return err
		}
		stored, next, err := e.Grow(leaves)
		if err != nil {
			return err
		}
		for i, row := range stored {
			if err := c.q(`UPDATE revision SET tree = $1 WHERE leaf = $2`).blob(row).int(e.Size + int64(i) + 1).run(); err != nil {
				return err
			}
		}
		e = next
	}
}

// HeadAt implements store.Store.
func (s *Store) HeadAt(ctx context.Context, position int64) (store.Head, error) {
	if err := s.usable(ctx); err != nil {
		return store.Head{}, err
	}
	if err := s.published(position); err != nil {
		return store.Head{}, err
	}
	head := *s.head.Load()
	switch position {
	case 0:
		return store.Head{}, nil
	case head.Position:
		return head, nil
	}
	h := store.Head{Position: position}
	err := s.read(ctx, func(c *conn) error {
		next, err := c.seek(head.Revisions, func(p int64, _ time.Time) bool { return p > position })
		if err != nil {
			return err
		}
		h.Revisions = next - 1
		return c.q(`SELECT p.time FROM revision AS r JOIN revision AS p ON p.leaf = r.origin WHERE r.leaf = $1`).int(h.Revisions).each(func(r *sqlite3.Stmt) error {
			h.Time = fromNanos(r.ColumnInt64(0))
			return nil
		})
	})
	if err != nil {
		return store.Head{}, err
	}
	return h, nil
}

// Await implements store.Store.
func (s *Store) Await(ctx context.Context, position int64) (store.Head, error) {
	if position < 0 {
		return store.Head{}, store.Negative(position)
	}
	for {
		if err := s.usable(ctx); err != nil {
			return store.Head{}, err
		}
		// In this order: a head that moves in between ends the waiting at once.
		moved := *s.moved.Load()
		if head := *s.head.Load(); head.Position >= position {
			return head, nil
		}
		select {
		case <-moved:
		case <-ctx.Done():
		case <-s.quit:
		}
	}
}

// setHead shows readers a new head and wakes those who wait for one.
func (s *Store) setHead(h store.Head) {
	s.head.Store(&h)
	next := make(chan struct{})
	if old := s.moved.Swap(&next); old != nil {
		close(*old)
	}
}

// Leaf implements store.Store.
func (s *Store) Leaf(ctx context.Context, index int64) (*store.Revision, error) {
	if index < 0 {
		return nil, fmt.Errorf("leaf %d: %w: leaves count from 0", index, store.ErrInvalid)
	}
	if size := s.head.Load().Revisions; index >= size {
		return nil, fmt.Errorf("leaf %d: %w: the ledger has %d, counted from 0", index, store.ErrFuture, size)
	}
	var found []*store.Revision
	err := s.read(ctx, func(c *conn) error {
		return c.q(`SELECT ` + columns + ` FROM revision AS r JOIN revision AS p ON p.leaf = r.origin WHERE r.leaf = $1`).int(index + 1).each(appendRevision(&found))
	})
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("leaf %d: %w: its row is gone; restore the store from a backup", index, store.ErrCorrupt)
	}
	if err != nil {
		return nil, err
	}
	return found[0], nil
}

// Hashes implements store.Store.
func (s *Store) Hashes(ctx context.Context, indexes []int64) ([][32]byte, error) {
	count := tlog.StoredHashCount(s.head.Load().Revisions)
	for _, x := range indexes {
		if x < 0 {
			return nil, fmt.Errorf("ledger hash %d: %w: hashes count from 0", x, store.ErrInvalid)
		}
		if x >= count {
			return nil, fmt.Errorf("ledger hash %d: %w: the tree has %d, counted from 0", x, store.ErrFuture, count)
		}
	}
	hashes := make([][32]byte, len(indexes))
	err := s.read(ctx, func(c *conn) error {
		read, err := c.ReadHashes(indexes)
		for i, h := range read {
			hashes[i] = h
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return hashes, nil
}
