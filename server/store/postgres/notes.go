package postgres

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"proofload/server/store"
	"proofload/server/store/rule"
)

type noteName struct{ space, key string }

// noteWrites is the job of WriteNotes.
type noteWrites []store.NoteWrite

// WriteNotes implements store.Store.
func (s *Store) WriteNotes(ctx context.Context, writes []store.NoteWrite) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	if err := store.ValidateNotes(writes); err != nil {
		return err
	}
	_, err := s.do(ctx, noteWrites(writes))
	return err
}

func (j noteWrites) size() int { return rule.Weight(j) }

func (j noteWrites) wants(w *wants) {
	for _, n := range j {
		w.notes = append(w.notes, noteName{n.Space, n.Key})
	}
}

func (j noteWrites) settle(ctx context.Context, p *plan) (int64, error) {
	drafts, err := p.settleNotes(ctx, j)
	if err == nil {
		p.addNotes(drafts)
	}
	return 0, err
}

// noteDraft is a write that was found in order, with the version that the note gets, 0
// where it goes.
type noteDraft struct {
	store.NoteWrite
	next int64
}

// wantNotes asks for the versions of notes.
func (p *plan) wantNotes(b *pgx.Batch, names []noteName) {
	for _, n := range names {
		p.notes[n] = 0
	}
	b.Queue(`SELECT n.space, n.key, n.version FROM unnest($1::TEXT[], $2::BYTEA[]) AS u (space, key) JOIN note AS n ON n.space = u.space AND n.key = u.key`,
		column(names, func(n noteName) string { return n.space }), column(names, func(n noteName) []byte { return []byte(n.key) })).Query(func(rows pgx.Rows) error {
		var space string
		var key []byte
		var version int64
		_, err := pgx.ForEachRow(rows, []any{&space, &key, &version}, func() error {
			p.notes[noteName{space, string(key)}] = version
			return nil
		})
		return err
	})
}

// settleNotes refuses writes against other versions than those that stand.
func (p *plan) settleNotes(ctx context.Context, writes []store.NoteWrite) ([]noteDraft, error) {
	var missing []noteName
	for _, w := range writes {
		if _, known := p.notes[noteName{w.Space, w.Key}]; !known {
			missing = append(missing, noteName{w.Space, w.Key})
		}
	}
	if len(missing) > 0 {
		b := &pgx.Batch{}
		p.wantNotes(b, missing)
		if err := p.tx.SendBatch(ctx, b).Close(); err != nil {
			return nil, engineError{err}
		}
	}
	drafts := make([]noteDraft, len(writes))
	for i, w := range writes {
		w, err := rule.Note(w, p.notes[noteName{w.Space, w.Key}])
		if err != nil {
			return nil, err
		}
		d := noteDraft{w, w.Version}
		if w.Body == nil {
			d.next = 0
		}
		drafts[i] = d
	}
	return drafts, nil
}

func (p *plan) addNotes(drafts []noteDraft) {
	for i := range drafts {
		d := drafts[i]
		n := noteName{d.Space, d.Key}
		if p.writes[n] == nil && p.notes[n] == 0 && d.next == 0 {
			continue // there is nothing to remove
		}
		if p.writes[n] == nil {
			p.order = append(p.order, n)
		}
		p.notes[n], p.writes[n] = d.next, &d.NoteWrite
	}
}

// queueNotes queues the last write of each note.
func (p *plan) queueNotes(ctx context.Context, b *batch) {
	for names := range slices.Chunk(p.order, chunkRows) {
		b.add(ctx, 0, `DELETE FROM note_term AS t USING unnest($1::TEXT[], $2::BYTEA[]) AS u (space, key), note AS n, unnest(n.terms) AS had (term)
			WHERE n.space = u.space AND n.key = u.key AND t.space = n.space AND t.term = had.term AND t.key = n.key`, spaces(names), keys(names))
	}
	var gone, terms []noteName
	var values [][]byte
	for _, n := range p.order {
		w := p.writes[n]
		if w.Body == nil {
			gone = append(gone, n)
			continue
		}
		b.add(ctx, len(w.Body), `INSERT INTO note (space, key, version, terms, body, time) VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (space, key) DO UPDATE SET version = excluded.version, terms = excluded.terms, body = excluded.body, time = excluded.time`,
			n.space, []byte(n.key), p.notes[n], column(w.Terms, func(t string) []byte { return []byte(t) }), w.Body, w.Time.UnixNano())
		for _, t := range w.Terms {
			terms, values = append(terms, n), append(values, []byte(t))
		}
	}
	if len(gone) > 0 {
		b.add(ctx, 0, `DELETE FROM note USING unnest($1::TEXT[], $2::BYTEA[]) AS u (space, key) WHERE note.space = u.space AND note.key = u.key`, spaces(gone), keys(gone))
	}
	if len(terms) > 0 {
		b.add(ctx, 0, `INSERT INTO note_term (space, term, key) SELECT space, term, key FROM unnest($1::TEXT[], $2::BYTEA[], $3::BYTEA[]) AS u (space, term, key)`, spaces(terms), values, keys(terms))
	}
}

func spaces(names []noteName) []string {
	return column(names, func(n noteName) string { return n.space })
}

func keys(names []noteName) [][]byte {
	return column(names, func(n noteName) []byte { return []byte(n.key) })
}

// noteColumns are those that scanNotes reads, of note n.
const noteColumns = `n.space, n.key, n.version, n.terms, n.body, n.time`

func scanNotes(rows pgx.Rows, err error) ([]*store.Note, error) {
	ns := []*store.Note{}
	if err != nil {
		return nil, err
	}
	for rows.Next() {
		n := &store.Note{Terms: []string{}}
		var key []byte
		var terms [][]byte
		var nanos int64
		if err := rows.Scan(&n.Space, &key, &n.Version, &terms, &n.Body, &nanos); err != nil {
			rows.Close()
			return nil, err
		}
		n.Key, n.Time = string(key), fromNanos(nanos)
		for _, t := range terms {
			n.Terms = append(n.Terms, string(t))
		}
		ns = append(ns, n)
	}
	return ns, rows.Err()
}

// GetNote implements store.Store.
func (s *Store) GetNote(ctx context.Context, space, key string) (*store.Note, error) {
	var found []*store.Note
	err := s.read(ctx, func(ctx context.Context, q querier) (err error) {
		found, err = scanNotes(q.Query(ctx, `SELECT `+noteColumns+` FROM note AS n WHERE n.space = $1 AND n.key = $2`, space, []byte(key)))
		return err
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
	sql := `SELECT ` + noteColumns + ` FROM note AS n WHERE n.space = $1 AND n.key` + beyond + `$2 ORDER BY n.key` + order + ` LIMIT $3`
	args := []any{q.Space, []byte(q.After), q.Limit}
	if q.Term != "" {
		sql = `SELECT ` + noteColumns + ` FROM note_term AS t JOIN note AS n ON n.space = t.space AND n.key = t.key
			WHERE t.space = $1 AND t.key` + beyond + `$2 AND t.term = $4 ORDER BY t.key` + order + ` LIMIT $3`
		args = append(args, []byte(q.Term))
	}
	var found []*store.Note
	err := s.read(ctx, func(ctx context.Context, c querier) (err error) {
		found, err = scanNotes(c.Query(ctx, sql, args...))
		return err
	})
	if err != nil {
		return nil, err
	}
	return found, nil
}

// NoteSpaces implements store.Store.
func (s *Store) NoteSpaces(ctx context.Context) (found []string, err error) {
	err = s.read(ctx, func(ctx context.Context, q querier) error {
		found = []string{}
		// One step from space to space, as an index has no distinct values by itself.
		for space := ""; ; {
			rows, err := q.Query(ctx, `SELECT space FROM note WHERE space > $1 ORDER BY space LIMIT 1`, space)
			if err != nil {
				return err
			}
			next, err := pgx.CollectRows(rows, pgx.RowTo[string])
			if err != nil || len(next) == 0 {
				return err
			}
			space = next[0]
			found = append(found, space)
		}
	})
	return found, err
}
