package sqlite

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"sync/atomic"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store/index"
	"proofload/specdata"
)

// Putting a revision's terms and words into the file costs several times what the
// revision itself costs, because they go to as many places. So the newest revisions
// keep theirs in memory, in the tail, and the writer moves them into the file many
// at a time and in order. Every answer joins the two. After a stop the tail is read
// from the log again.

const (
	// tailLength is when the writer begins to move the tail into the file. Every filtered
	// list looks through it, at some 20 ns a revision.
	tailLength = 2048
	// tailShare is how much is moved at once.
	tailShare = 4096
)

// inForce is the end of the span of a revision that nothing has superseded.
const inForce = 1<<63 - 1

// entry is a revision of the tail.
type entry struct {
	name           specdata.Name
	number         int64
	position, leaf int64
	withdrawn      bool
	facts          *index.Facts
	// until is the position that superseded it. It is set before that position can be read.
	until atomic.Int64
}

func newEntry(name specdata.Name, number, position, leaf int64, withdrawn bool, facts *index.Facts) *entry {
	e := &entry{name: name, number: number, position: position, leaf: leaf, withdrawn: withdrawn, facts: facts}
	e.until.Store(inForce)
	return e
}

// inForceAt reports whether the revision is what its record is at a position.
func (e *entry) inForceAt(position int64) bool {
	return e.position <= position && position < e.until.Load()
}

// tail is the end of the log in order. Readers take it whole, as it was at one
// moment; only its writer changes it.
type tail struct {
	shared atomic.Pointer[[]*entry]
	// entries and newest belong to the writer.
	entries []*entry
	newest  map[specdata.Name]*entry
}

// snapshot returns the entries of now, which the caller must not change.
func (t *tail) snapshot() []*entry { return *t.shared.Load() }

// add appends revisions that are durable.
func (t *tail) add(es []*entry) {
	for _, e := range es {
		if old := t.newest[e.name]; old != nil {
			old.until.Store(e.position)
		}
		t.newest[e.name] = e
	}
	t.entries = append(t.entries, es...)
	t.share()
}

// drop forgets the first n, which are in the file now.
func (t *tail) drop(n int) {
	for _, e := range t.entries[:n] {
		if t.newest[e.name] == e {
			delete(t.newest, e.name)
		}
	}
	t.entries = slices.Clone(t.entries[n:])
	t.share()
}

// share returns readers a slice header of their own; what it shows is never written again.
func (t *tail) share() {
	es := t.entries
	t.shared.Store(&es)
}

// reset makes the tail empty.
func (t *tail) reset() {
	t.entries, t.newest = nil, map[specdata.Name]*entry{}
	t.share()
}

// match returns the entries in force at a position that a test lets through, in order
// of name, at most one a record.
func match(es []*entry, position int64, test func(*entry) bool) []*entry {
	var found []*entry
	for _, e := range es {
		if e.inForceAt(position) && test(e) {
			found = append(found, e)
		}
	}
	slices.SortFunc(found, func(a, b *entry) int { return cmp.Compare(a.name, b.name) })
	return found
}

// loadTail reads the revisions that are not indexed yet. More than one share, as an
// interrupted import leaves, is moved into the file at once.
func (w *writer) loadTail(ctx context.Context) error {
	w.s.tail.reset()
	for {
		after := int64(0)
		if n := len(w.s.tail.entries); n > 0 {
			after = w.s.tail.entries[n-1].leaf
		} else if err := w.c.q(`SELECT indexed FROM derived WHERE id = 1`).each(scanInt(&after)); err != nil {
			return err
		}
		var es []*entry
		err := w.c.q(`SELECT name, number, position, leaf, withdrawn, document FROM revision WHERE leaf > $1 ORDER BY leaf LIMIT $2`).
			int(after).int(tailShare).each(func(r *sqlite3.Stmt) error {
			name := specdata.Name(r.ColumnText(0))
			facts, err := index.Of(name, r.ColumnRawBlob(5))
			if err == nil {
				es = append(es, newEntry(name, r.ColumnInt64(1), r.ColumnInt64(2), r.ColumnInt64(3), r.ColumnInt64(4) != 0, facts))
				err = ctx.Err()
			}
			return err
		})
		if err != nil {
			return err
		}
		w.s.tail.add(es)
		if len(es) < tailShare {
			return nil
		}
		if err := w.mergeTail(); err != nil {
			return err
		}
	}
}

// mergeTail moves a share of the tail into the file. Where that fails for want of
// space, the tail stays, and grows, until it works.
func (w *writer) mergeTail() error {
	t := &w.s.tail
	es := t.entries[:min(len(t.entries), tailShare)]
	err := w.transaction(func() error { return mergeEntries(w.c, es) })
	if err != nil {
		w.mergeAt = len(t.entries) + w.s.set.tail
		return err
	}
	w.mergeAt = w.s.set.tail
	t.drop(len(es))
	return nil
}

// mergeEntries writes the terms and words of revisions, but for those that a rebuild
// has written already.
func mergeEntries(c *conn, es []*entry) error {
	indexed := int64(0)
	if err := c.q(`SELECT indexed FROM derived WHERE id = 1`).each(scanInt(&indexed)); err != nil {
		return err
	}
	for len(es) > 0 && es[0].leaf <= indexed {
		es = es[1:]
	}
	if len(es) == 0 {
		return nil
	}
	type row struct {
		key string
		*entry
	}
	var rows []row
	first, last := map[specdata.Name]*entry{}, map[specdata.Name]*entry{}
	for _, e := range es {
		for _, t := range e.facts.Terms {
			rows = append(rows, row{t.Key(), e})
		}
		if first[e.name] == nil {
			first[e.name] = e
		}
		last[e.name] = e
	}
	// In the order of the table, so that neighbours are written together.
	slices.SortFunc(rows, func(a, b row) int {
		return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.name, b.name), cmp.Compare(a.number, b.number))
	})
	for _, r := range rows {
		if err := c.q(`INSERT INTO term (term, name, number) VALUES ($1, $2, $3)`).text(r.key).text(string(r.name)).int(r.number).run(); err != nil {
			return err
		}
	}
	for _, e := range es {
		if first[e.name] == e && e.number > 1 {
			if err := forgetWords(c, e.name, e.number-1); err != nil {
				return err
			}
		}
		if last[e.name] == e && !e.withdrawn {
			if err := c.q(`INSERT INTO search (rowid, words) VALUES ($1, $2)`).int(searchRow(len(e.facts.Words), e.leaf)).text(searchText(e)).run(); err != nil {
				return err
			}
		}
	}
	return c.q(`UPDATE derived SET indexed = $1 WHERE id = 1`).int(es[len(es)-1].leaf).run()
}

// forgetWords takes the words of a superseded revision out of the word index, where
// a withdrawal has none.
func forgetWords(c *conn, name specdata.Name, number int64) error {
	row := int64(0)
	if err := c.q(`SELECT leaf, words FROM span WHERE name = $1 AND number = $2 AND withdrawn = 0`).text(string(name)).int(number).each(func(r *sqlite3.Stmt) error {
		row = searchRow(r.ColumnInt(1), r.ColumnInt64(0))
		return nil
	}); err != nil || row == 0 {
		return err
	}
	return c.q(`DELETE FROM search WHERE rowid = $1`).int(row).run()
}

// leafBits are those of a row's number in the word index that are the leaf: enough
// for a million million revisions.
const leafBits = 40

// searchRow is the number of a revision's row in the word index.
func searchRow(words int, leaf int64) int64 { return int64(words)<<leafBits | leaf }

// searchText is what the engine's word index holds of a record: its words, and its
// kind as a word that no text has.
func searchText(e *entry) string {
	return kindWord(e.name.Kind()) + " " + strings.Join(e.facts.Words, " ")
}

func kindWord(k specdata.Kind) string { return "=" + string(k) }

// insertSpan notes a revision as in force, and the one before it, where there is one,
// as superseded.
func insertSpan(c *conn, e *entry) error {
	if e.number > 1 {
		if err := c.q(`UPDATE span SET until = $1 WHERE name = $2 AND number = $3`).int(e.position).text(string(e.name)).int(e.number - 1).run(); err != nil {
			return err
		}
	}
	return c.q(`INSERT INTO span (name, number, since, until, leaf, withdrawn, words) VALUES ($1, $2, $3, $4, $5, $6, $7)`).
		text(string(e.name)).int(e.number).int(e.position).int(inForce).int(e.leaf).bool(e.withdrawn).int(int64(len(e.facts.Words))).run()
}

// Rebuild implements store.Store.
func (s *Store) Rebuild(ctx context.Context) error {
	_, err := s.do(ctx, groupChanges, func(c *conn, _ *batch) (int64, bool, error) { return 0, false, rebuild(ctx, c) })
	return err
}

// rebuild makes the derived tables again, inside a transaction. The tail in memory
// may then repeat what the file has, which does no harm.
func rebuild(ctx context.Context, c *conn) error {
	if err := c.Exec(`DELETE FROM span; DELETE FROM term; INSERT INTO search (search) VALUES ('delete-all'); UPDATE derived SET indexed = 0`); err != nil {
		return err
	}
	var es []*entry
	err := c.q(`SELECT name, number, position, leaf, withdrawn, document FROM revision ORDER BY leaf`).each(func(r *sqlite3.Stmt) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		name := specdata.Name(r.ColumnText(0))
		facts, err := index.Of(name, r.ColumnRawBlob(5))
		if err != nil {
			return err
		}
		e := newEntry(name, r.ColumnInt64(1), r.ColumnInt64(2), r.ColumnInt64(3), r.ColumnInt64(4) != 0, facts)
		if err := insertSpan(c, e); err != nil {
			return err
		}
		if es = append(es, e); len(es) < tailShare {
			return nil
		}
		err = mergeEntries(c, es)
		es = es[:0]
		return err
	})
	if err == nil {
		err = mergeEntries(c, es)
	}
	if err != nil {
		return err
	}
	if err := c.q(`UPDATE derived SET edition = $1 WHERE id = 1`).int(index.Edition).run(); err != nil {
		return err
	}
	return rebuildNotes(ctx, c)
}
