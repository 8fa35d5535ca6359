package postgres

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/rule"
	"proofload/specdata"
)

// wants is what a group of jobs has to know before it is settled.
type wants struct {
	names, withdrawn []string
	keys             [][]byte
	notes            []noteName
	releases         []string
}

// plan is what a transaction is going to write, and what it knows: what it read, with
// what it will have written. Nothing of it is in the database before write.
type plan struct {
	tx pgx.Tx
	// commits is the session's synchronous_commit, which may be changed at any time.
	commits   string
	was, head store.Head
	edge      ledger.Edge
	records   map[specdata.Name]*newest
	keys      map[string]*keyed
	// notes are versions by name, 0 for none; releases positions by name.
	notes    map[noteName]int64
	releases map[string]int64

	publications []publicationRow
	revisions    []rule.Row
	closed       []closedRow
	spans        []*spanRow
	terms        []termRow
	words        []wordRow
	writes       map[noteName]*store.NoteWrite
	order        []noteName
	named        []store.Release
}

// newest is what a change needs to know of the record it changes.
type newest struct {
	rule.Newest
	// document and hash are there where the record is to be withdrawn.
	document, hash []byte
	// span is the row of a revision that the plan itself adds.
	span *spanRow
}

// keyed is an earlier publication under a key.
type keyed struct {
	position int64
	changes  []rule.Published
}

type publicationRow struct {
	position, first, leaves, time int64
	authors, reviewer, reason     string
	key                           []byte
}

type spanRow struct {
	name                       specdata.Name
	number, since, until, leaf int64
	withdrawn                  bool
}

type closedRow struct {
	name          specdata.Name
	number, until int64
}

type termRow struct {
	term   []byte
	name   specdata.Name
	number int64
}

type wordRow struct {
	word                []byte
	words, leaf, number int64
	name                specdata.Name
}

// empty reports whether there is nothing to write.
func (p *plan) empty() bool {
	return len(p.publications) == 0 && len(p.writes) == 0 && len(p.named) == 0
}

// load reads what jobs want to know, in one round trip.
func (s *Store) load(ctx context.Context, tx pgx.Tx, ws *wants) (*plan, error) {
	p := &plan{
		tx: tx, records: map[specdata.Name]*newest{}, keys: map[string]*keyed{}, notes: map[noteName]int64{}, releases: map[string]int64{},
		writes: map[noteName]*store.NoteWrite{},
	}
	b := &pgx.Batch{}
	seen := s.seen.Load()
	b.Queue(`SHOW synchronous_commit`).QueryRow(func(row pgx.Row) error { return row.Scan(&p.commits) })
	b.Queue(`SELECT h.position, h.leaves, h.time, h.edge, h.edition, m.version FROM log_head AS h CROSS JOIN migration AS m WHERE h.id = 1 AND m.id = 1`).QueryRow(func(row pgx.Row) error {
		var nanos, edition, version int64
		var edge []byte
		if err := row.Scan(&p.was.Position, &p.was.Revisions, &nanos, &edge, &edition, &version); err != nil {
			return err
		}
		if version > int64(len(s.set.steps)) || edition > s.set.edition {
			return s.newer(version)
		}
		if p.was.Position < seen {
			return behind(p.was.Position, seen)
		}
		p.was.Time = headTime(p.was.Position, nanos)
		p.head = p.was
		var err error
		if p.edge, err = ledger.ParseEdge(p.was.Revisions, edge); err != nil {
			return fmt.Errorf("%w: %v; restore the database from a backup", store.ErrCorrupt, err)
		}
		return nil
	})
	p.wantRecords(b, ws)
	if len(ws.keys) > 0 {
		b.Queue(`SELECT p.key, p.position, r.name, r.number, r.withdrawn, r.hash FROM publication AS p
			JOIN revision AS r ON r.leaf >= p.first_leaf AND r.leaf < p.first_leaf + p.leaves WHERE p.key = ANY ($1) ORDER BY r.leaf`, ws.keys).Query(p.scanKeys)
	}
	if len(ws.notes) > 0 {
		p.wantNotes(b, ws.notes)
	}
	if len(ws.releases) > 0 {
		b.Queue(`SELECT name, position FROM release WHERE name = ANY ($1)`, ws.releases).Query(func(rows pgx.Rows) error {
			var name string
			var position int64
			_, err := pgx.ForEachRow(rows, []any{&name, &position}, func() error { p.releases[name] = position; return nil })
			return err
		})
	}
	return p, tx.SendBatch(ctx, b).Close()
}

func (p *plan) wantRecords(b *pgx.Batch, ws *wants) {
	if len(ws.names) > 0 {
		b.Queue(`SELECT n.name, s.number, s.withdrawn FROM unnest($1::TEXT[]) AS n (name)
			CROSS JOIN LATERAL (SELECT number, withdrawn FROM span WHERE span.name = n.name ORDER BY number DESC LIMIT 1) AS s`, ws.names).Query(func(rows pgx.Rows) error {
			var name string
			var r newest
			_, err := pgx.ForEachRow(rows, []any{&name, &r.Number, &r.Withdrawn}, func() error {
				one := r
				p.records[specdata.Name(name)] = &one
				return nil
			})
			return err
		})
	}
	if len(ws.withdrawn) > 0 {
		b.Queue(`SELECT n.name, r.document, r.hash FROM unnest($1::TEXT[]) AS n (name)
			CROSS JOIN LATERAL (SELECT document, hash FROM revision WHERE revision.name = n.name ORDER BY number DESC LIMIT 1) AS r`, ws.withdrawn).Query(func(rows pgx.Rows) error {
			var name string
			var document, hash []byte
			_, err := pgx.ForEachRow(rows, []any{&name, &document, &hash}, func() error {
				if r := p.records[specdata.Name(name)]; r != nil {
					r.document, r.hash = document, hash
				}
				document, hash = nil, nil
				return nil
			})
			return err
		})
	}
}

func (p *plan) scanKeys(rows pgx.Rows) error {
	var key, hash []byte
	var position int64
	var name string
	var c rule.Published
	_, err := pgx.ForEachRow(rows, []any{&key, &position, &name, &c.Number, &c.Withdrawn, &hash}, func() error {
		k := p.keys[string(key)]
		if k == nil {
			k = &keyed{position: position}
			p.keys[string(key)] = k
		}
		c.Name, c.Hash = specdata.Name(name), bytes.Clone(hash)
		k.changes = append(k.changes, c)
		return nil
	})
	return err
}

// publish adds a publication whose changes are settled, at the head that it makes.
func (p *plan) publish(pub store.Publication, head store.Head, contents []rule.Content) error {
	authors, err := json.Marshal(append([]string{}, pub.Authors...))
	if err != nil {
		return err
	}
	rows, grown, err := rule.Rows(pub, contents, head, p.edge)
	if err != nil {
		return err
	}
	row := publicationRow{
		position: head.Position, first: p.head.Revisions, leaves: int64(len(contents)), time: head.Time.UnixNano(),
		authors: string(authors), reviewer: pub.Reviewer, reason: pub.Reason,
	}
	k := &keyed{position: head.Position}
	if pub.Key != "" {
		row.key = []byte(pub.Key)
		p.keys[pub.Key] = k
	}
	p.publications = append(p.publications, row)
	p.revisions = append(p.revisions, rows...)
	for _, r := range rows {
		k.changes = append(k.changes, rule.Published{Name: r.Name, Number: r.Number, Withdrawn: r.Withdrawn, Hash: r.Hash})
		p.derive(r)
	}
	p.head, p.edge = head, grown
	return nil
}

// derive adds what follows from a revision.
func (p *plan) derive(r rule.Row) {
	if old := p.records[r.Name]; old != nil && old.span != nil {
		old.span.until = r.Position
	} else if old != nil {
		p.closed = append(p.closed, closedRow{r.Name, old.Number, r.Position})
	}
	span := &spanRow{name: r.Name, number: r.Number, since: r.Position, until: inForce, leaf: r.Leaf, withdrawn: r.Withdrawn}
	p.spans = append(p.spans, span)
	p.records[r.Name] = &newest{Newest: rule.Newest{Number: r.Number, Withdrawn: r.Withdrawn}, document: r.Document, hash: r.Hash, span: span}
	p.terms = append(p.terms, termsOf(r.Name, r.Number, r.Facts)...)
	if !r.Withdrawn {
		p.words = append(p.words, wordsOf(r.Name, r.Number, r.Leaf, r.Facts)...)
	}
}

// write sends the plan to the database: everything first, and the head last.
func (p *plan) write(ctx context.Context, tx pgx.Tx, node string, attempt int64) error {
	b := &batch{tx: tx}
	if p.commits == "off" {
		b.add(ctx, 0, `SET LOCAL synchronous_commit TO on`)
	}
	b.one(ctx, `UPDATE writer SET attempt = $2, time = $3 WHERE node = $1`, errUnregistered, node, attempt, time.Now().UnixNano())
	p.queueNotes(ctx, b)
	for _, r := range p.named {
		b.add(ctx, 0, `INSERT INTO release (name, position, note, made_by, time) VALUES ($1, $2, $3, $4, $5)`, r.Name, r.Position, r.Note, r.By, r.Time.UnixNano())
	}
	if len(p.publications) > 0 {
		p.queueLog(ctx, b)
		p.queueDerived(ctx, b)
		b.one(ctx, `UPDATE log_head SET position = $1, leaves = $2, time = $3, edge = $4 WHERE id = 1 AND position = $5`,
			errMoved, p.head.Position, p.head.Revisions, p.head.Time.UnixNano(), p.edge.Bytes(), p.was.Position)
	}
	return b.flush(ctx)
}

func (p *plan) queueLog(ctx context.Context, b *batch) {
	for rows := range slices.Chunk(p.publications, chunkRows) {
		b.add(ctx, 0, `INSERT INTO publication (position, first_leaf, leaves, time, authors, reviewer, reason, key)
			SELECT position, first_leaf, leaves, time, authors, reviewer, reason, key
			FROM unnest($1::BIGINT[], $2::BIGINT[], $3::BIGINT[], $4::BIGINT[], $5::TEXT[], $6::TEXT[], $7::TEXT[], $8::BYTEA[]) AS u (position, first_leaf, leaves, time, authors, reviewer, reason, key)`,
			column(rows, func(r publicationRow) int64 { return r.position }), column(rows, func(r publicationRow) int64 { return r.first }),
			column(rows, func(r publicationRow) int64 { return r.leaves }), column(rows, func(r publicationRow) int64 { return r.time }),
			column(rows, func(r publicationRow) string { return r.authors }), column(rows, func(r publicationRow) string { return r.reviewer }),
			column(rows, func(r publicationRow) string { return r.reason }), column(rows, func(r publicationRow) []byte { return r.key }))
	}
	for rows := range chunkBytes(p.revisions) {
		size := 0
		for _, r := range rows {
			size += len(r.Document)
		}
		b.add(ctx, size, `INSERT INTO revision (leaf, position, name, number, withdrawn, hash, document, tree)
			SELECT leaf, position, name, number, withdrawn, hash, document, tree
			FROM unnest($1::BIGINT[], $2::BIGINT[], $3::TEXT[], $4::BIGINT[], $5::BOOLEAN[], $6::BYTEA[], $7::BYTEA[], $8::BYTEA[]) AS u (leaf, position, name, number, withdrawn, hash, document, tree)`,
			column(rows, func(r rule.Row) int64 { return r.Leaf }), column(rows, func(r rule.Row) int64 { return r.Position }),
			column(rows, func(r rule.Row) string { return string(r.Name) }), column(rows, func(r rule.Row) int64 { return r.Number }),
			column(rows, func(r rule.Row) bool { return r.Withdrawn }), column(rows, func(r rule.Row) []byte { return r.Hash }),
			column(rows, func(r rule.Row) []byte { return r.Document }), column(rows, func(r rule.Row) []byte { return r.Tree }))
	}
}

func (p *plan) queueDerived(ctx context.Context, b *batch) {
	for rows := range slices.Chunk(p.closed, chunkRows) {
		b.exactly(ctx, len(rows), `UPDATE span SET until = u.until FROM unnest($1::TEXT[], $2::BIGINT[], $3::BIGINT[]) AS u (name, number, until) WHERE span.name = u.name AND span.number = u.number`,
			fmt.Errorf("derived tables: %w: the newest revision of a record is not among them; rebuild the store", store.ErrCorrupt),
			column(rows, func(r closedRow) string { return string(r.name) }), column(rows, func(r closedRow) int64 { return r.number }), column(rows, func(r closedRow) int64 { return r.until }))
	}
	queueSpans(ctx, b, p.spans)
	queueTerms(ctx, b, p.terms)
	queueWords(ctx, b, p.words)
}
