package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
	"proofload/specdata"
)

// columns are those that scanRevision reads, of revision r and its publication's origin p.
const columns = `r.name, r.number, r.position, r.withdrawn, r.hash, r.document, p.authors, p.reviewer, p.reason, p.time, r.leaf, p.key`

func scanRevision(row *sqlite3.Stmt) (*store.Revision, error) {
	r := &store.Revision{
		Name: specdata.Name(row.ColumnText(0)), Number: row.ColumnInt64(1), Position: row.ColumnInt64(2), Withdrawn: row.ColumnInt64(3) != 0,
		Document: row.ColumnBlob(5, nil), Reviewer: row.ColumnText(7), Reason: row.ColumnText(8), Time: fromNanos(row.ColumnInt64(9)),
		Leaf: row.ColumnInt64(10) - 1, Key: row.ColumnText(11),
	}
	sum := sha256.Sum256(r.Document)
	if !bytes.Equal(sum[:], row.ColumnRawBlob(4)) {
		return nil, store.Damaged(r.Name, r.Number)
	}
	r.Hash = hex.EncodeToString(sum[:])
	if err := json.Unmarshal(row.ColumnRawText(6), &r.Authors); err != nil {
		return nil, fmt.Errorf("record %s revision %d: %w: its authors cannot be read (%v); restore the store from a backup", r.Name, r.Number, store.ErrCorrupt, err)
	}
	return r, nil
}

func appendRevision(rs *[]*store.Revision) func(*sqlite3.Stmt) error {
	return func(row *sqlite3.Stmt) error {
		r, err := scanRevision(row)
		if err == nil {
			*rs = append(*rs, r)
		}
		return err
	}
}

// read lends a connection to work and explains its error.
func (s *Store) read(ctx context.Context, work func(*conn) error) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	return s.readError(ctx, s.readers.use(ctx, work))
}

func (s *Store) readError(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil {
		return ctx.Err() // the engine calls it an interruption
	}
	return s.explain(err)
}

// published refuses positions that there are not, or not yet.
func (s *Store) published(position int64) error {
	if position < 0 {
		return store.Negative(position)
	}
	if head := s.head.Load().Position; position > head {
		return store.Future(position, head)
	}
	return nil
}

// Get implements store.Store.
func (s *Store) Get(ctx context.Context, name specdata.Name, position int64) (*store.Revision, error) {
	if err := s.published(position); err != nil {
		return nil, err
	}
	var found []*store.Revision
	err := s.read(ctx, func(c *conn) error {
		return c.q(`SELECT ` + columns + ` FROM span AS s JOIN revision AS r ON r.leaf = s.leaf JOIN revision AS p ON p.leaf = r.origin
			WHERE s.name = $1 AND s.since <= $2 ORDER BY s.number DESC LIMIT 1`).text(string(name)).int(position).each(appendRevision(&found))
	})
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, store.Absent(name, position)
	}
	return found[0], nil
}

// GetRevision implements store.Store.
func (s *Store) GetRevision(ctx context.Context, name specdata.Name, number int64) (*store.Revision, error) {
	var found []*store.Revision
	err := s.read(ctx, func(c *conn) error {
		return c.q(`SELECT ` + columns + ` FROM span AS s JOIN revision AS r ON r.leaf = s.leaf JOIN revision AS p ON p.leaf = r.origin
			WHERE s.name = $1 AND s.number = $2`).text(string(name)).int(number).each(appendRevision(&found))
	})
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("record %s revision %d: %w", name, number, store.ErrNotFound)
	}
	return found[0], nil
}

// Revisions implements store.Store.
func (s *Store) Revisions(ctx context.Context, name specdata.Name, position, before int64, limit int) ([]*store.Revision, error) {
	if err := s.published(position); err != nil {
		return nil, err
	}
	if err := store.ValidLimit(limit); err != nil {
		return nil, err
	}
	below := before
	if below <= 0 {
		below = inForce
	}
	found := []*store.Revision{}
	exists := int64(0)
	err := s.read(ctx, func(c *conn) error {
		if err := c.q(`SELECT count(*) FROM span WHERE name = $1 AND number = 1 AND since <= $2`).text(string(name)).int(position).each(scanInt(&exists)); err != nil {
			return err
		}
		return c.q(`SELECT ` + columns + ` FROM span AS s JOIN revision AS r ON r.leaf = s.leaf JOIN revision AS p ON p.leaf = r.origin
			WHERE s.name = $1 AND s.since <= $2 AND s.number < $3 ORDER BY s.number DESC LIMIT $4`).
			text(string(name)).int(position).int(below).int(int64(limit)).each(appendRevision(&found))
	})
	if err != nil {
		return nil, err
	}
	if exists == 0 {
		return nil, store.Absent(name, position)
	}
	return found, nil
}

// Resolve implements store.Store.
func (s *Store) Resolve(ctx context.Context, at store.At) (int64, error) {
	if err := at.Validate(); err != nil {
		return 0, err
	}
	if err := s.usable(ctx); err != nil {
		return 0, err
	}
	if n, ok := at.Position(); ok {
		return n, s.published(n)
	}
	if name, ok := at.Release(); ok {
		position := int64(0)
		err := s.read(ctx, func(c *conn) error {
			return c.q(`SELECT position FROM release WHERE name = $1`).text(name).each(scanInt(&position))
		})
		if err == nil && position == 0 {
			err = fmt.Errorf("release %q: %w", name, store.ErrNotFound)
		}
		return position, err
	}
	head := s.head.Load()
	t, _ := at.Time()
	if at.Head() || head.Position > 0 && !t.Before(head.Time) {
		return head.Position, nil
	}
	position := int64(0)
	err := s.read(ctx, func(c *conn) error {
		leaf, err := c.seek(head.Revisions, func(_ int64, made time.Time) bool { return made.After(t) })
		if err != nil {
			return err
		}
		return c.q(`SELECT position FROM revision WHERE leaf = $1`).int(leaf - 1).each(scanInt(&position))
	})
	if err == nil && position == 0 {
		err = fmt.Errorf("moment %s: %w: nothing was published by then", t.UTC().Format(time.RFC3339Nano), store.ErrNotFound)
	}
	return position, err
}

// seek returns the first of so many leaves for whose publication a test is true, one
// more than there are if it is for none. The test must stay true from there on.
// Searching from the end makes the recent past quick to find.
func (c *conn) seek(leaves int64, test func(position int64, made time.Time) bool) (int64, error) {
	holds := func(leaf int64) (yes bool, err error) {
		err = c.q(`SELECT r.position, p.time FROM revision AS r JOIN revision AS p ON p.leaf = r.origin WHERE r.leaf = $1`).int(leaf).each(func(row *sqlite3.Stmt) error {
			yes = test(row.ColumnInt64(0), fromNanos(row.ColumnInt64(1)))
			return nil
		})
		return yes, err
	}
	low, high := int64(0), leaves+1 // false at low, true at high
	for step := int64(1); high-step > low; step *= 2 {
		yes, err := holds(high - step)
		if err != nil {
			return 0, err
		}
		if !yes {
			low = high - step
			break
		}
		high -= step
	}
	for high-low > 1 {
		middle := low + (high-low)/2
		yes, err := holds(middle)
		if err != nil {
			return 0, err
		}
		if yes {
			high = middle
		} else {
			low = middle
		}
	}
	return high, nil
}

// Log implements store.Store.
func (s *Store) Log(ctx context.Context, after, upTo int64, limit int) ([]*store.Revision, error) {
	for _, position := range []int64{after, upTo} {
		if err := s.published(position); err != nil {
			return nil, err
		}
	}
	if err := store.ValidLimit(limit); err != nil {
		return nil, err
	}
	found := []*store.Revision{}
	if after >= upTo {
		return found, s.usable(ctx)
	}
	err := s.read(ctx, func(c *conn) error {
		first, last, err := c.wholePositions(s.head.Load().Revisions, after, upTo, int64(limit))
		if err != nil {
			return err
		}
		return c.q(`SELECT ` + columns + ` FROM revision AS r JOIN revision AS p ON p.leaf = r.origin
			WHERE r.leaf >= $1 AND r.leaf <= $2 ORDER BY r.leaf`).int(first).int(last).each(appendRevision(&found))
	})
	if err != nil {
		return nil, err
	}
	return found, nil
}

// wholePositions returns the leaves of the positions behind after, as many whole ones
// up to upTo as limit holds, and the first in any case.
func (c *conn) wholePositions(leaves, after, upTo, limit int64) (first, last int64, err error) {
	behind := func(position int64) (int64, error) {
		return c.seek(leaves, func(p int64, _ time.Time) bool { return p > position })
	}
	if first, err = behind(after); err != nil {
		return 0, 0, err
	}
	end, err := behind(upTo)
	if err != nil || end-first <= limit {
		return first, end - 1, err
	}
	// The leaf that is one too many, and where its position begins.
	origin, position := int64(0), int64(0)
	if err := c.q(`SELECT origin, position FROM revision WHERE leaf = $1`).int(first + limit).each(func(r *sqlite3.Stmt) error {
		origin, position = r.ColumnInt64(0), r.ColumnInt64(1)
		return nil
	}); err != nil {
		return 0, 0, err
	}
	if origin > first {
		return first, origin - 1, nil
	}
	end, err = behind(position)
	return first, end - 1, err
}
