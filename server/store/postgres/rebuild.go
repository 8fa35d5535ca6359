package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"proofload/server/store/index"
	"proofload/specdata"
)

// pageRows is how many rows a statement reads of those that read everything.
const pageRows = 1000

// Rebuild implements store.Store. Publications wait while it runs, by any server.
func (s *Store) Rebuild(ctx context.Context) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	return s.rebuild(ctx)
}

// rebuild makes the derived tables in one transaction, so that readers see the old or
// the new. Its first statement takes the lock that every publication needs at its end.
func (s *Store) rebuild(ctx context.Context) error {
	return s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
		leaves := int64(0)
		if err := tx.QueryRow(ctx, `SELECT leaves FROM log_head WHERE id = 1 FOR UPDATE`).Scan(&leaves); err != nil {
			return err
		}
		for _, sql := range []string{
			`DELETE FROM span`, `DELETE FROM term`, `DELETE FROM word`, `DELETE FROM note_term`,
			`INSERT INTO note_term (space, term, key) SELECT n.space, t.term, n.key FROM note AS n CROSS JOIN LATERAL unnest(n.terms) AS t (term)`,
		} {
			if _, err := tx.Exec(ctx, sql); err != nil {
				return err
			}
		}
		for first := int64(0); first < leaves; first += pageRows {
			if err := rebuildPage(ctx, tx, first); err != nil {
				return err
			}
		}
		_, err := tx.Exec(ctx, `UPDATE log_head SET edition = $1 WHERE id = 1`, s.set.edition)
		return err
	})
}

func rebuildPage(ctx context.Context, tx pgx.Tx, first int64) error {
	rows, err := tx.Query(ctx, `SELECT r.name, r.number, r.position, COALESCE(n.position, $3), r.leaf, r.withdrawn, r.document
		FROM revision AS r LEFT JOIN revision AS n ON n.name = r.name AND n.number = r.number + 1 WHERE r.leaf >= $1 AND r.leaf < $2 ORDER BY r.leaf`,
		first, first+pageRows, int64(inForce))
	if err != nil {
		return err
	}
	var spans []*spanRow
	var terms []termRow
	var words []wordRow
	var name string
	var document []byte
	var r spanRow
	if _, err := pgx.ForEachRow(rows, []any{&name, &r.number, &r.since, &r.until, &r.leaf, &r.withdrawn, &document}, func() error {
		one := r
		one.name = specdata.Name(name)
		facts, err := index.Of(one.name, document)
		if err != nil {
			return err
		}
		spans = append(spans, &one)
		terms = append(terms, termsOf(one.name, one.number, facts)...)
		if !one.withdrawn {
			words = append(words, wordsOf(one.name, one.number, one.leaf, facts)...)
		}
		return nil
	}); err != nil {
		return err
	}
	b := &batch{tx: tx}
	queueSpans(ctx, b, spans)
	queueTerms(ctx, b, terms)
	queueWords(ctx, b, words)
	return b.flush(ctx)
}
