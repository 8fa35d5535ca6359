package postgres

import (
	"bytes"
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"proofload/server/store"
	"proofload/server/store/recheck"
	"proofload/specdata"
)

// Check implements store.Store. It reads everything, as it was at one moment, while
// writes go on.
func (s *Store) Check(ctx context.Context) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	return s.snapshot(ctx, func(ctx context.Context, q querier) error {
		k := checker{s: s, q: q, Walk: recheck.New()}
		for _, step := range []func(context.Context) error{k.log, k.head, k.derived, k.releases} {
			if err := step(ctx); err != nil {
				return err
			}
		}
		return k.Verdict(s.name)
	})
}

// checker compares what is stored with what the log says.
type checker struct {
	s *Store
	q querier
	*recheck.Walk
}

// log checks the log by itself and adds up what should be derived from it.
func (k *checker) log(ctx context.Context) error {
	for next := int64(-1); ; {
		rows, err := k.q.Query(ctx, `SELECT r.name, r.number, r.position, r.leaf, r.withdrawn, r.hash, r.document, r.tree, p.first_leaf, p.leaves, p.time, p.authors, p.reviewer, p.reason
			FROM revision AS r LEFT JOIN publication AS p ON p.position = r.position WHERE r.leaf > $1 ORDER BY r.leaf LIMIT $2`, next, pageRows)
		if err != nil {
			return err
		}
		n := 0
		for rows.Next() {
			var r recheck.Row
			var name string
			var from, leaves, nanos *int64
			var authors, reviewer, reason *string
			if err := rows.Scan(&name, &r.Number, &r.Position, &r.Leaf, &r.Withdrawn, &r.Hash, &r.Document, &r.Tree, &from, &leaves, &nanos, &authors, &reviewer, &reason); err != nil {
				rows.Close()
				return err
			}
			n, next, r.Name = n+1, r.Leaf, specdata.Name(name)
			if from == nil {
				k.Complain("record %s revision %d: position %d has no row", r.Name, r.Number, r.Position)
				continue
			}
			if r.Leaf >= *from+*leaves {
				k.Complain("record %s revision %d: the row of position %d says that it ends with leaf %d, which is before leaf %d", r.Name, r.Number, r.Position, *from+*leaves-1, r.Leaf)
			}
			r.First, r.Time, r.Authors, r.Reviewer, r.Reason = *from, fromNanos(*nanos), []byte(*authors), *reviewer, *reason
			k.revision(&r)
		}
		if rows.Err() != nil {
			return rows.Err()
		}
		if n < pageRows {
			break
		}
	}
	k.End()
	return nil
}

func (k *checker) revision(r *recheck.Row) {
	facts, _ := k.Revision(r)
	for _, t := range termsOf(r.Name, r.Number, facts) {
		k.Demand(string(r.Name), fmt.Sprint("term", t.number, t.term))
	}
	if r.Withdrawn {
		return
	}
	for _, w := range wordsOf(r.Name, r.Number, r.Leaf, facts) {
		k.Demand(string(r.Name), fmt.Sprint("word", w.number, w.words, w.leaf, w.word))
	}
}

// head compares what the head says with what the log has led to.
func (k *checker) head(ctx context.Context) error {
	var h store.Head
	var nanos, edition, publications int64
	var edge []byte
	if err := k.q.QueryRow(ctx, `SELECT position, leaves, time, edge, edition, (SELECT count(*) FROM publication) FROM log_head WHERE id = 1`).
		Scan(&h.Position, &h.Revisions, &nanos, &edge, &edition, &publications); err != nil {
		return err
	}
	if h.Time = headTime(h.Position, nanos); h != k.Head {
		k.Complain("head: it says %+v, the log leads to %+v", h, k.Head)
	}
	if publications != k.Head.Position {
		k.Complain("log: it has %d positions, the last of them %d", publications, k.Head.Position)
	}
	if !bytes.Equal(edge, k.Edge.Bytes()) {
		k.Complain("head: the edge of the ledger's tree is not that of the log")
	}
	if edition != k.s.set.edition {
		k.Complain("derived tables: they are of edition %d, wanted %d; rebuild the store", edition, k.s.set.edition)
	}
	return nil
}

// derived takes away what the tables hold.
func (k *checker) derived(ctx context.Context) error {
	var name, space string
	var number, a, b, c int64
	var withdrawn bool
	var text, key []byte
	for _, part := range []struct {
		sql  string
		into []any
		row  func()
		// from returns the place to continue behind.
		from []any
	}{
		{`SELECT name, number, since, until, leaf, withdrawn FROM span WHERE (name, number) > ($1, $2) ORDER BY name, number LIMIT $3`,
			[]any{&name, &number, &a, &b, &c, &withdrawn}, func() {
				k.HoldSpan(recheck.Span{Name: specdata.Name(name), Number: number, Since: a, Until: b, Leaf: c, Withdrawn: withdrawn})
			}, []any{&name, &number}},
		{`SELECT term, name, number FROM term WHERE (term, name, number) > ($1, $2, $3) ORDER BY term, name, number LIMIT $4`,
			[]any{&text, &name, &number}, func() { k.Hold(name, fmt.Sprint("term", number, text)) }, []any{&text, &name, &number}},
		{`SELECT word, words, leaf, name, number FROM word WHERE (word, words, leaf) > ($1, $2, $3) ORDER BY word, words, leaf LIMIT $4`,
			[]any{&text, &a, &b, &name, &number}, func() { k.Hold(name, fmt.Sprint("word", number, a, b, text)) }, []any{&text, &a, &b}},
		{`SELECT n.space, n.key, t.term FROM (SELECT space, key, terms FROM note WHERE (space, key) > ($1, $2) ORDER BY space, key LIMIT $3) AS n
			LEFT JOIN LATERAL unnest(n.terms) AS t (term) ON TRUE ORDER BY n.space, n.key`,
			[]any{&space, &key, &text}, func() {
				if text != nil {
					k.Demand(space+"/"+string(key), fmt.Sprint("note", text))
				}
			}, []any{&space, &key}},
		{`SELECT space, term, key FROM note_term WHERE (space, term, key) > ($1, $2, $3) ORDER BY space, term, key LIMIT $4`,
			[]any{&space, &text, &key}, func() { k.Hold(space+"/"+string(key), fmt.Sprint("note", text)) }, []any{&space, &text, &key}},
	} {
		name, space, number, a, b, text, key = "", "", 0, 0, 0, []byte{}, []byte{}
		for n := 1; n > 0; {
			rows, err := k.q.Query(ctx, part.sql, append(values(part.from), pageRows)...)
			if err != nil {
				return err
			}
			tag, err := pgx.ForEachRow(rows, part.into, func() error { part.row(); return nil })
			if err != nil {
				return err
			}
			n = int(tag.RowsAffected())
		}
	}
	k.Derived()
	return nil
}

// values returns what pointers point at.
func values(pointers []any) []any {
	vs := make([]any, len(pointers))
	for i, p := range pointers {
		switch p := p.(type) {
		case *string:
			vs[i] = *p
		case *int64:
			vs[i] = *p
		case *[]byte:
			vs[i] = bytes.Clone(*p)
		}
	}
	return vs
}

func (k *checker) releases(ctx context.Context) error {
	rows, err := k.q.Query(ctx, `SELECT name, position FROM release ORDER BY name`)
	if err != nil {
		return err
	}
	var name string
	var position int64
	_, err = pgx.ForEachRow(rows, []any{&name, &position}, func() error {
		k.Release(name, position)
		return nil
	})
	return err
}
