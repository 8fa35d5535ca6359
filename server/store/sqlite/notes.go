package sqlite

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
	"proofload/server/store/rule"
)

// WriteNotes implements store.Store.
func (s *Store) WriteNotes(ctx context.Context, writes []store.NoteWrite) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	if err := store.ValidateNotes(writes); err != nil {
		return err
	}
	_, err := s.do(ctx, rule.Weight(writes), func(c *conn, _ *batch) (int64, bool, error) {
		drafts, err := settleNotes(c, writes)
		if err != nil {
			return 0, true, err
		}
		return 0, false, writeNotes(c, drafts)
	})
	return err
}

// noteDraft is a write with what stands now.
type noteDraft struct {
	store.NoteWrite
	// version is the one that stands, 0 for none; old are its terms.
	version int64
	old     []string
}

// settleNotes looks up the notes of writes and refuses what does not fit them.
func settleNotes(c *conn, writes []store.NoteWrite) ([]noteDraft, error) {
	ws := make([]noteDraft, len(writes))
	for i := range writes {
		w := &ws[i]
		space, key := writes[i].Space, writes[i].Key
		err := c.q(`SELECT version, terms FROM note WHERE space = $1 AND key = $2`).text(space).text(key).each(func(r *sqlite3.Stmt) (err error) {
			w.version = r.ColumnInt64(0)
			w.old, err = noteTerms(space, key, r.ColumnRawText(1))
			return err
		})
		if err == nil {
			w.NoteWrite, err = rule.Note(writes[i], w.version)
		}
		if err != nil {
			return nil, err
		}
	}
	return ws, nil
}

func writeNotes(c *conn, ws []noteDraft) error {
	for i := range ws {
		w := &ws[i]
		terms := w.Terms
		switch {
		case w.Body != nil:
			text, err := json.Marshal(append([]string{}, terms...))
			if err != nil {
				return err
			}
			err = c.q(`INSERT INTO note (space, key, version, terms, body, time) VALUES ($1, $2, $3, $4, $5, $6)
				ON CONFLICT (space, key) DO UPDATE SET version = excluded.version, terms = excluded.terms, body = excluded.body, time = excluded.time`).
				text(w.Space).text(w.Key).int(w.Version).text(string(text)).blob(w.Body).int(w.Time.UnixNano()).run()
			if err != nil {
				return err
			}
		case w.version != 0:
			terms = nil
			if err := c.q(`DELETE FROM note WHERE space = $1 AND key = $2`).text(w.Space).text(w.Key).run(); err != nil {
				return err
			}
		default:
			continue
		}
		for _, t := range w.old {
			if _, kept := slices.BinarySearch(terms, t); kept {
				continue
			}
			if err := c.q(`DELETE FROM note_term WHERE space = $1 AND term = $2 AND key = $3`).text(w.Space).text(t).text(w.Key).run(); err != nil {
				return err
			}
		}
		for _, t := range terms {
			if _, had := slices.BinarySearch(w.old, t); had {
				continue
			}
			if err := insertNoteTerm(c, w.Space, t, w.Key); err != nil {
				return err
			}
		}
	}
	return nil
}

func insertNoteTerm(c *conn, space, term, key string) error {
	return c.q(`INSERT INTO note_term (space, term, key) VALUES ($1, $2, $3)`).text(space).text(term).text(key).run()
}

func noteTerms(space, key string, text []byte) ([]string, error) {
	terms := []string{}
	if err := json.Unmarshal(text, &terms); err != nil {
		return nil, fmt.Errorf("note %s/%s: %w: its terms cannot be read (%v); restore the store from a backup", space, key, store.ErrCorrupt, err)
	}
	return terms, nil
}

// noteColumns are those that scanNote reads, of note n.
const noteColumns = `n.space, n.key, n.version, n.terms, n.body, n.time`

func scanNote(r *sqlite3.Stmt) (n *store.Note, err error) {
	n = &store.Note{
		Space: r.ColumnText(0), Key: r.ColumnText(1), Version: r.ColumnInt64(2),
		Body: append([]byte{}, r.ColumnRawBlob(4)...), Time: fromNanos(r.ColumnInt64(5)),
	}
	n.Terms, err = noteTerms(n.Space, n.Key, r.ColumnRawText(3))
	return n, err
}

func appendNote(ns *[]*store.Note) func(*sqlite3.Stmt) error {
	return func(r *sqlite3.Stmt) error {
		n, err := scanNote(r)
		if err == nil {
			*ns = append(*ns, n)
		}
		return err
	}
}

// GetNote implements store.Store.
func (s *Store) GetNote(ctx context.Context, space, key string) (*store.Note, error) {
	var found []*store.Note
	err := s.read(ctx, func(c *conn) error {
		return c.q(`SELECT ` + noteColumns + ` FROM note AS n WHERE n.space = $1 AND n.key = $2`).text(space).text(key).each(appendNote(&found))
	})
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("note %s/%.60q: %w", space, key, store.ErrNotFound)
	}
	if err != nil {
		return nil, err
	}
	return found[0], nil
}

// ListNotes implements store.Store.
func (s *Store) ListNotes(ctx context.Context, q store.NoteQuery) ([]*store.Note, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	beyond, order := ` > `, ``
	if q.Descending {
		order = ` DESC`
		if q.After != "" { // and else behind "", which is no key
			beyond = ` < `
		}
	}
	found := []*store.Note{}
	err := s.read(ctx, func(c *conn) error {
		var stmt *query
		if q.Term == "" {
			stmt = c.q(`SELECT ` + noteColumns + ` FROM note AS n WHERE n.space = $1 AND n.key` + beyond + `$2 ORDER BY n.key` + order + ` LIMIT $3`).text(q.Space)
		} else {
			stmt = c.q(`SELECT ` + noteColumns + ` FROM note_term AS t CROSS JOIN note AS n WHERE t.space = $1 AND t.term = $2 AND t.key` + beyond + `$3
				AND n.space = t.space AND n.key = t.key ORDER BY t.key` + order + ` LIMIT $4`).text(q.Space).text(q.Term)
		}
		return stmt.text(q.After).int(int64(q.Limit)).each(appendNote(&found))
	})
	if err != nil {
		return nil, err
	}
	return found, nil
}

// NoteSpaces implements store.Store.
func (s *Store) NoteSpaces(ctx context.Context) ([]string, error) {
	spaces := []string{}
	err := s.read(ctx, func(c *conn) error {
		// One step from space to space, as an index has no distinct values by itself.
		for space, more := "", true; more; {
			more = false
			if err := c.q(`SELECT space FROM note WHERE space > $1 ORDER BY space LIMIT 1`).text(space).each(func(r *sqlite3.Stmt) error {
				space, more = r.ColumnText(0), true
				spaces = append(spaces, space)
				return nil
			}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return spaces, nil
}

// rebuildNotes makes the table of terms again, inside a transaction.
func rebuildNotes(ctx context.Context, c *conn) error {
	if err := c.Exec(`DELETE FROM note_term`); err != nil {
		return err
	}
	return c.q(`SELECT space, key, terms FROM note`).each(func(r *sqlite3.Stmt) error {
		space, key := r.ColumnText(0), r.ColumnText(1)
		terms, err := noteTerms(space, key, r.ColumnRawText(2))
		for _, t := range terms {
			if err == nil {
				err = insertNoteTerm(c, space, t, key)
			}
		}
		if err == nil {
			err = ctx.Err()
		}
		return err
	})
}
