package postgres

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/specdata"
)

// columns are those that scanRevisions reads, of revision r and its publication p.
const columns = `r.name, r.number, r.position, r.leaf, r.withdrawn, r.hash, r.document, p.authors, p.reviewer, p.reason, p.time, p.key,
	(SELECT position FROM log_head WHERE id = 1)`

// scanRevisions reads revisions. It returns none whose document is not what was
// published, and none of a database that is behind a position seen before.
func scanRevisions(rows pgx.Rows, err error, seen int64) ([]*store.Revision, error) {
	rs := []*store.Revision{}
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		r := &store.Revision{}
		var name, authors string
		var hash, key []byte
		var nanos, head int64
		if err := rows.Scan(&name, &r.Number, &r.Position, &r.Leaf, &r.Withdrawn, &hash, &r.Document, &authors, &r.Reviewer, &r.Reason, &nanos, &key, &head); err != nil {
			return nil, err
		}
		if head < seen {
			return nil, behind(head, seen)
		}
		r.Name, r.Key, r.Time = specdata.Name(name), string(key), fromNanos(nanos)
		sum := sha256.Sum256(r.Document)
		if !bytes.Equal(sum[:], hash) {
			return nil, store.Damaged(r.Name, r.Number)
		}
		r.Hash = hex.EncodeToString(hash)
		if err := json.Unmarshal([]byte(authors), &r.Authors); err != nil {
			return nil, fmt.Errorf("record %s revision %d: %w: its authors cannot be read (%v); restore the database from a backup", r.Name, r.Number, store.ErrCorrupt, err)
		}
		rs = append(rs, r)
	}
	return rs, rows.Err()
}

// revisions runs a query for revisions.
func (s *Store) revisions(ctx context.Context, sql string, args ...any) (rs []*store.Revision, err error) {
	err = s.read(ctx, func(ctx context.Context, q querier) error {
		seen := s.seen.Load() // before the statement sees the database as it is
		rows, err := q.Query(ctx, sql, args...)
		rs, err = scanRevisions(rows, err, seen)
		return err
	})
	return rs, err
}

// behind is the ErrWentBack of a database whose head is below one seen before.
func behind(head, seen int64) error {
	return fmt.Errorf("%w: the database is at position %d, and position %d was seen before; put the newest database back, or declare the older one with proofload restore", store.ErrWentBack, head, seen)
}

// reached refuses positions that there are not, or not yet.
func (s *Store) reached(ctx context.Context, positions ...int64) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	for _, position := range positions {
		if position < 0 {
			return store.Negative(position)
		}
		if position <= s.seen.Load() {
			continue
		}
		head, err := s.Head(ctx)
		if err != nil {
			return err
		}
		if position > head.Position {
			return store.Future(position, head.Position)
		}
	}
	return nil
}

// Get implements store.Store.
func (s *Store) Get(ctx context.Context, name specdata.Name, position int64) (*store.Revision, error) {
	if err := s.reached(ctx, position); err != nil {
		return nil, err
	}
	found, err := s.revisions(ctx, `SELECT `+columns+` FROM (SELECT leaf FROM span WHERE name = $1 AND since <= $2 ORDER BY number DESC LIMIT 1) AS s
		JOIN revision AS r ON r.leaf = s.leaf JOIN publication AS p ON p.position = r.position`, string(name), position)
	if err == nil && len(found) == 0 {
		err = store.Absent(name, position)
	}
	if err != nil {
		return nil, err
	}
	return found[0], nil
}

// GetRevision implements store.Store.
func (s *Store) GetRevision(ctx context.Context, name specdata.Name, number int64) (*store.Revision, error) {
	found, err := s.revisions(ctx, `SELECT `+columns+` FROM revision AS r JOIN publication AS p ON p.position = r.position WHERE r.name = $1 AND r.number = $2`, string(name), number)
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("record %s revision %d: %w", name, number, store.ErrNotFound)
	}
	if err != nil {
		return nil, err
	}
	return found[0], nil
}

// Revisions implements store.Store.
func (s *Store) Revisions(ctx context.Context, name specdata.Name, position, before int64, limit int) ([]*store.Revision, error) {
	if err := s.reached(ctx, position); err != nil {
		return nil, err
	}
	if err := store.ValidLimit(limit); err != nil {
		return nil, err
	}
	if before <= 0 {
		before = math.MaxInt64
	}
	found, err := s.revisions(ctx, `SELECT `+columns+` FROM revision AS r JOIN publication AS p ON p.position = r.position
		WHERE r.name = $1 AND r.position <= $2 AND r.number < $3 ORDER BY r.number DESC LIMIT $4`, string(name), position, before, limit)
	if err != nil || len(found) > 0 {
		return found, err
	}
	if _, err := s.Get(ctx, name, position); err != nil {
		return nil, err
	}
	return found, nil
}

// Resolve implements store.Store.
func (s *Store) Resolve(ctx context.Context, at store.At) (int64, error) {
	if err := at.Validate(); err != nil {
		return 0, err
	}
	if n, ok := at.Position(); ok {
		return n, s.reached(ctx, n)
	}
	if at.Head() {
		head, err := s.Head(ctx)
		return head.Position, err
	}
	name, _ := at.Release()
	sql, arg := `SELECT position FROM release WHERE name = $1`, any(name)
	missing := fmt.Errorf("release %q: %w", name, store.ErrNotFound)
	if t, ok := at.Time(); ok {
		sql, arg = `SELECT position FROM publication WHERE time <= $1 ORDER BY time DESC, position DESC LIMIT 1`, nanos(t)
		missing = fmt.Errorf("moment %s: %w: nothing was published by then", t.UTC().Format(time.RFC3339Nano), store.ErrNotFound)
	}
	position := int64(0)
	err := s.read(ctx, func(ctx context.Context, q querier) error {
		err := q.QueryRow(ctx, sql, arg).Scan(&position)
		if errors.Is(err, pgx.ErrNoRows) {
			return missing
		}
		return err
	})
	if err != nil {
		return 0, err
	}
	raise(&s.seen, position)
	return position, nil
}

// nanos returns a time as it is stored, the nearest where it is out of range.
func nanos(t time.Time) int64 {
	switch {
	case t.Before(time.Unix(0, math.MinInt64)):
		return math.MinInt64
	case t.After(time.Unix(0, math.MaxInt64)):
		return math.MaxInt64
	}
	return t.UnixNano()
}

// Log implements store.Store.
func (s *Store) Log(ctx context.Context, after, upTo int64, limit int) ([]*store.Revision, error) {
	if err := s.reached(ctx, after, upTo); err != nil {
		return nil, err
	}
	if err := store.ValidLimit(limit); err != nil {
		return nil, err
	}
	found := []*store.Revision{}
	if after >= upTo {
		return found, nil
	}
	// The rows of the log never change, so that the two statements need not see the
	// same moment.
	err := s.read(ctx, func(ctx context.Context, q querier) error {
		first, end, err := wholePositions(ctx, q, after, upTo, int64(limit))
		if err != nil {
			return err
		}
		seen := s.seen.Load()
		rows, err := q.Query(ctx, `SELECT `+columns+` FROM revision AS r JOIN publication AS p ON p.position = r.position
			WHERE r.leaf >= $1 AND r.leaf < $2 ORDER BY r.leaf`, first, end)
		found, err = scanRevisions(rows, err, seen)
		return err
	})
	if err != nil {
		return nil, err
	}
	return found, nil
}

// wholePositions returns the leaves of the positions behind after, as many whole ones
// up to upTo as limit holds, and the first in any case.
func wholePositions(ctx context.Context, q querier, after, upTo, limit int64) (first, end int64, err error) {
	rows, err := q.Query(ctx, `SELECT first_leaf, leaves FROM publication WHERE position > $1 AND position <= $2 ORDER BY position LIMIT $3`, after, upTo, limit)
	if err != nil {
		return 0, 0, err
	}
	first = -1
	full := false
	var from, n int64
	_, err = pgx.ForEachRow(rows, []any{&from, &n}, func() error {
		if first < 0 {
			first, end = from, from
		}
		if full = full || end > first && from+n-first > limit; !full {
			end = from + n
		}
		return nil
	})
	return first, end, err
}

// HeadAt implements store.Store.
func (s *Store) HeadAt(ctx context.Context, position int64) (h store.Head, err error) {
	if err := s.reached(ctx, position); err != nil || position == 0 {
		return store.Head{}, err
	}
	err = s.read(ctx, func(ctx context.Context, q querier) error {
		var nanos int64
		err := q.QueryRow(ctx, `SELECT first_leaf + leaves, time FROM publication WHERE position = $1`, position).Scan(&h.Revisions, &nanos)
		if errors.Is(err, pgx.ErrNoRows) {
			return fmt.Errorf("position %d: %w: its row is gone; restore the database from a backup", position, store.ErrCorrupt)
		}
		h.Position, h.Time = position, fromNanos(nanos)
		return err
	})
	return h, err
}

// Leaf implements store.Store.
func (s *Store) Leaf(ctx context.Context, index int64) (*store.Revision, error) {
	if index < 0 {
		return nil, fmt.Errorf("leaf %d: %w: leaves count from 0", index, store.ErrInvalid)
	}
	found, err := s.revisions(ctx, `SELECT `+columns+` FROM revision AS r JOIN publication AS p ON p.position = r.position WHERE r.leaf = $1`, index)
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		head, err := s.Head(ctx)
		if err != nil {
			return nil, err
		}
		if index < head.Revisions {
			return nil, fmt.Errorf("leaf %d: %w: its row is gone; restore the database from a backup", index, store.ErrCorrupt)
		}
		return nil, fmt.Errorf("leaf %d: %w: the ledger has %d, counted from 0", index, store.ErrFuture, head.Revisions)
	}
	return found[0], nil
}

// Hashes implements store.Store. A hash is in the row of the leaf that completed
// its subtree.
func (s *Store) Hashes(ctx context.Context, indexes []int64) ([][32]byte, error) {
	if err := s.hashed(ctx, indexes); err != nil {
		return nil, err
	}
	leaves := make([]int64, len(indexes))
	for i, x := range indexes {
		level, n := tlog.SplitStoredHashIndex(x)
		leaves[i] = (n+1)<<level - 1
	}
	trees := map[int64][]byte{}
	err := s.read(ctx, func(ctx context.Context, q querier) error {
		rows, err := q.Query(ctx, `SELECT leaf, tree FROM revision WHERE leaf = ANY ($1)`, leaves)
		if err != nil {
			return err
		}
		var leaf int64
		var tree []byte
		_, err = pgx.ForEachRow(rows, []any{&leaf, &tree}, func() error {
			trees[leaf] = tree
			tree = nil
			return nil
		})
		return err
	})
	if err != nil {
		return nil, err
	}
	hashes := make([][32]byte, len(indexes))
	for i, x := range indexes {
		tree := trees[leaves[i]]
		if len(tree) != ledger.Completes(leaves[i])*tlog.HashSize {
			return nil, fmt.Errorf("ledger: %w: the row of leaf %d lacks its hashes; restore the database from a backup", store.ErrCorrupt, leaves[i])
		}
		level, _ := tlog.SplitStoredHashIndex(x)
		copy(hashes[i][:], tree[level*tlog.HashSize:])
	}
	return hashes, nil
}

// hashed refuses hashes that there are not, or not yet.
func (s *Store) hashed(ctx context.Context, indexes []int64) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	count := tlog.StoredHashCount(s.leaves.Load())
	for _, x := range indexes {
		if x < 0 {
			return fmt.Errorf("ledger hash %d: %w: hashes count from 0", x, store.ErrInvalid)
		}
		if x < count {
			continue
		}
		head, err := s.Head(ctx)
		if err != nil {
			return err
		}
		if count = tlog.StoredHashCount(head.Revisions); x >= count {
			return fmt.Errorf("ledger hash %d: %w: the tree has %d, counted from 0", x, store.ErrFuture, count)
		}
	}
	return nil
}

func negative(position int64) error { return store.Negative(position) }

func damaged(name specdata.Name, number int64) error { return store.Damaged(name, number) }
