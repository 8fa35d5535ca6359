package sqlite

import (
	"context"
	"encoding/json"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
	"proofload/server/store/rule"
	"proofload/specdata"
)

// Publish implements store.Store.
func (s *Store) Publish(ctx context.Context, p store.Publication) (int64, error) {
	if err := s.usable(ctx); err != nil {
		return 0, err
	}
	if err := p.Validate(); err != nil {
		return 0, err
	}
	fresh, err := readDocuments(ctx, p.Changes)
	if err != nil {
		return 0, err
	}
	return s.do(ctx, len(fresh), func(c *conn, b *batch) (int64, bool, error) {
		if p.Key != "" {
			if position, err := findKey(c, p, fresh); position > 0 || err != nil {
				return position, true, err
			}
		}
		contents := slices.Clone(fresh)
		for i := range contents {
			if err := settle(c, p.Changes[i], &contents[i]); err != nil {
				return 0, true, err
			}
		}
		head := rule.Head(b.head, p, len(contents))
		notes, err := publicationNotes(c, p, head)
		if err != nil {
			return 0, true, err
		}
		if err := appendPublication(ctx, c, p, contents, b, head); err != nil {
			return 0, false, err
		}
		return head.Position, false, writeNotes(c, notes)
	})
}

// readDocuments reads and hashes the documents, on all processors where there are many.
func readDocuments(ctx context.Context, changes []store.Change) ([]rule.Content, error) {
	contents := make([]rule.Content, len(changes))
	errs := make([]error, len(changes))
	var next atomic.Int64
	work := func() {
		const share = 64
		for ctx.Err() == nil {
			from := int(next.Add(share)) - share
			if from >= len(changes) {
				return
			}
			for i := from; i < min(from+share, len(changes)); i++ {
				if c := changes[i]; c.Document != nil {
					contents[i], errs[i] = rule.Read(c.Name, c.Document)
				}
			}
		}
	}
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(changes)/64) - 1 {
		wg.Go(work)
	}
	work()
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return contents, nil
}

// findKey returns the position of an earlier publication under the same key, 0 if
// there is none. It fails where that one made other changes.
func findKey(c *conn, p store.Publication, fresh []rule.Content) (position int64, err error) {
	first := int64(0)
	err = c.q(`SELECT position, leaf FROM revision WHERE key = $1`).text(p.Key).each(func(r *sqlite3.Stmt) error {
		position, first = r.ColumnInt64(0), r.ColumnInt64(1)
		return nil
	})
	if err != nil || position == 0 {
		return 0, err
	}
	var had []rule.Published
	// One leaf more than there are changes, to see whether that publication had more.
	err = c.q(`SELECT name, withdrawn, hash, number FROM revision WHERE leaf >= $1 AND leaf <= $2 AND position = $3 ORDER BY leaf`).
		int(first).int(first + int64(len(fresh))).int(position).each(func(r *sqlite3.Stmt) error {
		had = append(had, rule.Published{Name: specdata.Name(r.ColumnText(0)), Withdrawn: r.ColumnBool(1), Hash: r.ColumnBlob(2, nil), Number: r.ColumnInt64(3)})
		return nil
	})
	if err != nil {
		return 0, err
	}
	return position, rule.Again(p, fresh, position, had)
}

// settle asks whether a change may follow the newest revision of its record. It reads
// the content that a withdrawal repeats.
func settle(c *conn, change store.Change, content *rule.Content) error {
	var newest *rule.Newest
	leaf := int64(0)
	err := c.q(`SELECT number, leaf, withdrawn FROM span WHERE name = $1 ORDER BY number DESC LIMIT 1`).text(string(change.Name)).each(func(r *sqlite3.Stmt) error {
		newest, leaf = &rule.Newest{Number: r.ColumnInt64(0), Withdrawn: r.ColumnBool(2)}, r.ColumnInt64(1)
		return nil
	})
	if err == nil {
		err = rule.Change(change, newest)
	}
	if err != nil || change.Document != nil {
		return err
	}
	var document, hash []byte
	err = c.q(`SELECT document, hash FROM revision WHERE leaf = $1`).int(leaf).each(func(r *sqlite3.Stmt) error {
		document, hash = r.ColumnBlob(0, nil), r.ColumnBlob(1, nil)
		return nil
	})
	if err == nil {
		*content, err = rule.Repeat(change.Name, newest.Number, document, hash)
	}
	return err
}

// publicationNotes asks a publication for its notes and looks them up.
func publicationNotes(c *conn, p store.Publication, head store.Head) ([]noteDraft, error) {
	if p.Notes == nil {
		return nil, nil
	}
	writes, err := p.Notes(head.Position, head.Time)
	if err == nil {
		err = store.ValidateNotes(writes)
	}
	if err != nil {
		return nil, err
	}
	return settleNotes(c, writes)
}

// appendPublication writes a publication behind the batch's head and moves that.
func appendPublication(ctx context.Context, c *conn, p store.Publication, contents []rule.Content, b *batch, head store.Head) error {
	authors, err := json.Marshal(append([]string{}, p.Authors...))
	if err != nil {
		return err
	}
	rows, grown, err := rule.Rows(p, contents, head, b.edge)
	if err != nil {
		return err
	}
	for i, r := range rows {
		if i%256 == 255 && ctx.Err() != nil {
			return ctx.Err()
		}
		e := newEntry(r.Name, r.Number, r.Position, r.Leaf+1, r.Withdrawn, r.Facts)
		q := c.q(`INSERT INTO revision (leaf, position, origin, name, number, withdrawn, hash, document, tree, time, authors, reviewer, reason, key)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`).
			int(e.leaf).int(e.position).int(b.head.Revisions + 1).text(string(e.name)).int(e.number).bool(e.withdrawn).
			blob(r.Hash).blob(r.Document).blob(r.Tree)
		if i == 0 {
			q.int(head.Time.UnixNano()).text(string(authors)).text(p.Reviewer).text(p.Reason).orNull(p.Key)
		} else {
			q.null().null().null().null().null()
		}
		if err := q.run(); err != nil {
			return err
		}
		if err := insertSpan(c, e); err != nil {
			return err
		}
		b.entries = append(b.entries, e)
	}
	b.head, b.edge = head, grown
	return nil
}

// SetRelease implements store.Store.
func (s *Store) SetRelease(ctx context.Context, r store.Release) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	if err := r.Validate(); err != nil {
		return err
	}
	_, err := s.do(ctx, 1, func(c *conn, b *batch) (int64, bool, error) {
		at := int64(0)
		if err := c.q(`SELECT position FROM release WHERE name = $1`).text(r.Name).each(scanInt(&at)); err != nil {
			return 0, true, err
		}
		if fresh, err := rule.Release(r, b.head.Position, at); !fresh || err != nil {
			return at, true, err
		}
		return r.Position, false, c.q(`INSERT INTO release (name, position, note, made_by, time) VALUES ($1, $2, $3, $4, $5)`).
			text(r.Name).int(r.Position).text(r.Note).text(r.By).int(r.Time.UnixNano()).run()
	})
	return err
}

// Releases implements store.Store.
func (s *Store) Releases(ctx context.Context) ([]store.Release, error) {
	rs := []store.Release{}
	err := s.read(ctx, func(c *conn) error {
		return c.q(`SELECT name, position, note, made_by, time FROM release ORDER BY position, name`).each(func(r *sqlite3.Stmt) error {
			rs = append(rs, store.Release{Name: r.ColumnText(0), Position: r.ColumnInt64(1), Note: r.ColumnText(2), By: r.ColumnText(3), Time: time.Unix(0, r.ColumnInt64(4)).UTC()})
			return nil
		})
	})
	return rs, err
}
