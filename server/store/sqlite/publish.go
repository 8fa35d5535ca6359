package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// draft is a change with everything worked out that does not need the file.
type draft struct {
	store.Change
	// fresh is of the change's own document, repeated of the one that a withdrawal repeats.
	fresh, repeated content
	// before is the record's newest revision, nil if it has none.
	before *newest
}

// content is a document with what follows from it.
type content struct {
	document, hash []byte
	facts          *index.Facts
}

// newest is what a change needs to know of the record it changes.
type newest struct {
	number, leaf int64
	withdrawn    bool
}

// Publish implements store.Store.
func (s *Store) Publish(ctx context.Context, p store.Publication) (int64, error) {
	if err := s.usable(ctx); err != nil {
		return 0, err
	}
	if err := p.Validate(); err != nil {
		return 0, err
	}
	drafts, err := prepareDrafts(ctx, p.Changes)
	if err != nil {
		return 0, err
	}
	return s.do(ctx, len(drafts), func(c *conn, b *batch) (int64, bool, error) {
		if p.Key != "" {
			if position, err := findKey(c, p, drafts); position > 0 || err != nil {
				return position, true, err
			}
		}
		for i := range drafts {
			if err := drafts[i].settle(c); err != nil {
				return 0, true, err
			}
		}
		head := nextHead(b.head, p, len(drafts))
		notes, err := publicationNotes(c, p, head)
		if err != nil {
			return 0, true, err
		}
		if err := appendPublication(ctx, c, p, drafts, b, head); err != nil {
			return 0, false, err
		}
		return head.Position, false, writeNotes(c, notes)
	})
}

// prepareDrafts hashes and reads the documents, on all processors where there are many.
func prepareDrafts(ctx context.Context, changes []store.Change) ([]draft, error) {
	drafts := make([]draft, len(changes))
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
				d := &drafts[i]
				if d.Change = changes[i]; d.Document != nil {
					sum := sha256.Sum256(d.Document)
					d.fresh.document, d.fresh.hash = d.Document, sum[:]
					d.fresh.facts, errs[i] = index.Of(d.Name, d.Document)
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
	return drafts, nil
}

// findKey gives the position of an earlier publication under the same key, 0 if
// there is none. It fails where that one made other changes.
func findKey(c *conn, p store.Publication, drafts []draft) (position int64, err error) {
	first := int64(0)
	err = c.q(`SELECT position, leaf FROM revision WHERE key = $1`).text(p.Key).each(func(r *sqlite3.Stmt) error {
		position, first = r.ColumnInt64(0), r.ColumnInt64(1)
		return nil
	})
	if err != nil || position == 0 {
		return 0, err
	}
	same, n := true, 0
	// One leaf more than there are drafts, to see whether that publication had more.
	err = c.q(`SELECT name, withdrawn, hash, number FROM revision WHERE leaf >= $1 AND leaf <= $2 AND position = $3 ORDER BY leaf`).
		int(first).int(first + int64(len(drafts))).int(position).each(func(r *sqlite3.Stmt) error {
		if n < len(drafts) {
			d := &drafts[n]
			same = same && r.ColumnText(0) == string(d.Name) && r.ColumnBool(1) == (d.Document == nil) &&
				(d.Document == nil || bytes.Equal(r.ColumnRawBlob(2), d.fresh.hash)) && r.ColumnInt64(3) == d.Base+1
		}
		n++
		return nil
	})
	if err != nil {
		return 0, err
	}
	if !same || n != len(drafts) {
		return 0, fmt.Errorf("publication key %q: %w: it was used for other changes at position %d; give each publication a key of its own", p.Key, store.ErrConflict, position)
	}
	return position, nil
}

// lookUp finds the newest revision of a record, nil if it has none.
func lookUp(c *conn, name specdata.Name) (before *newest, err error) {
	err = c.q(`SELECT number, leaf, withdrawn FROM span WHERE name = $1 ORDER BY number DESC LIMIT 1`).text(string(name)).each(func(r *sqlite3.Stmt) error {
		before = &newest{r.ColumnInt64(0), r.ColumnInt64(1), r.ColumnBool(2)}
		return nil
	})
	return before, err
}

// settle looks up the record that a draft changes and refuses what does not fit it.
func (d *draft) settle(c *conn) (err error) {
	if d.before, err = lookUp(c, d.Name); err != nil {
		return err
	}
	current := int64(0)
	if d.before != nil {
		current = d.before.number
	}
	switch {
	case d.Base != current:
		return &store.Conflict{Name: d.Name, Base: d.Base, Current: current}
	case d.Document != nil:
		return nil
	case d.before == nil:
		return fmt.Errorf("record %s: %w: there is nothing to withdraw", d.Name, store.ErrNotFound)
	case d.before.withdrawn:
		return fmt.Errorf("record %s: %w: revision %d withdrew it already", d.Name, store.ErrNotFound, current)
	}
	if d.repeated.document, d.repeated.hash, err = readDocument(c, d.before.leaf); err == nil {
		d.repeated.facts, err = index.Of(d.Name, d.repeated.document)
	}
	return err
}

// nextHead gives the head as a publication of so many revisions leaves it.
func nextHead(head store.Head, p store.Publication, revisions int) store.Head {
	next := store.Head{Position: head.Position + 1, Revisions: head.Revisions + int64(revisions), Time: p.Time.UTC().Round(0)}
	if head.Position > 0 && next.Time.Before(head.Time) {
		next.Time = head.Time
	}
	return next
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
func appendPublication(ctx context.Context, c *conn, p store.Publication, drafts []draft, b *batch, head store.Head) error {
	authors, err := json.Marshal(append([]string{}, p.Authors...))
	if err != nil {
		return err
	}
	parts := make([]content, len(drafts))
	leaves := make([]ledger.Leaf, len(drafts))
	for i := range drafts {
		d := &drafts[i]
		if parts[i] = d.fresh; d.Document == nil {
			parts[i] = d.repeated
		}
		leaves[i] = ledger.NewLeaf(d.Name, d.Base+1, head.Position, hex.EncodeToString(parts[i].hash), d.Document == nil, p.Authors, p.Reviewer, p.Reason, head.Time)
	}
	tree, grown, err := b.edge.grow(leaves)
	if err != nil {
		return err
	}
	for i := range drafts {
		if i%256 == 255 && ctx.Err() != nil {
			return ctx.Err()
		}
		d := &drafts[i]
		e := newEntry(d.Name, d.Base+1, head.Position, b.head.Revisions+int64(i)+1, d.Document == nil, parts[i].facts)
		q := c.q(`INSERT INTO revision (leaf, position, origin, name, number, withdrawn, hash, document, tree, time, authors, reviewer, reason, key)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`).
			int(e.leaf).int(e.position).int(b.head.Revisions + 1).text(string(e.name)).int(e.number).bool(e.withdrawn).
			blob(parts[i].hash).blob(parts[i].document).blob(tree[i])
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

// readDocument gives the document of a leaf and its hash.
func readDocument(c *conn, leaf int64) (document, hash []byte, err error) {
	err = c.q(`SELECT document, hash FROM revision WHERE leaf = $1`).int(leaf).each(func(r *sqlite3.Stmt) error {
		document, hash = r.ColumnBlob(0, nil), r.ColumnBlob(1, nil)
		return nil
	})
	if sum := sha256.Sum256(document); err == nil && !bytes.Equal(sum[:], hash) {
		err = fmt.Errorf("revision at leaf %d: %w: its document does not have the hash it was published with", leaf, store.ErrCorrupt)
	}
	return document, hash, err
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
		if r.Position > b.head.Position {
			return 0, true, future(r.Position, b.head.Position)
		}
		at := int64(0)
		if err := c.q(`SELECT position FROM release WHERE name = $1`).text(r.Name).each(scanInt(&at)); err != nil {
			return 0, true, err
		}
		if at == r.Position {
			return at, true, nil
		}
		if at != 0 {
			return 0, true, fmt.Errorf("release %s: %w: it names position %d and cannot name %d as well; choose another name", r.Name, store.ErrConflict, at, r.Position)
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
