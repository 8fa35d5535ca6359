package postgres

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"proofload/server/store/rule"
)

const (
	// chunkRows is the most rows of one statement, chunkSize about the most bytes of
	// documents.
	chunkRows = 10000
	chunkSize = 4 << 20
)

// errUnregistered says that somebody has cleared away the store's row in the table
// writer, as it had not written for long.
var errUnregistered = errors.New("the store is not registered as a writer any more")

// batch gathers statements and sends them in few round trips.
type batch struct {
	tx    pgx.Tx
	queue pgx.Batch
	size  int
	err   error
}

// add queues a statement with so many bytes of parameters.
func (b *batch) add(ctx context.Context, size int, sql string, args ...any) {
	b.push(ctx, size, sql, args, func(pgconn.CommandTag) error { return nil })
}

// one queues a statement that has to change one row; otherwise it fails as wrong says.
func (b *batch) one(ctx context.Context, sql string, wrong error, args ...any) {
	b.exactly(ctx, 1, sql, wrong, args...)
}

// exactly queues a statement that has to change so many rows.
func (b *batch) exactly(ctx context.Context, n int, sql string, wrong error, args ...any) {
	b.push(ctx, 0, sql, args, func(tag pgconn.CommandTag) error {
		if tag.RowsAffected() != int64(n) {
			return fmt.Errorf("%d rows changed, not %d: %w", tag.RowsAffected(), n, wrong)
		}
		return nil
	})
}

func (b *batch) push(ctx context.Context, size int, sql string, args []any, done func(pgconn.CommandTag) error) {
	if b.size+size > 2*chunkSize && b.size > 0 {
		b.err = errors.Join(b.err, b.flush(ctx))
	}
	if b.err == nil {
		b.queue.Queue(sql, args...).Exec(done)
		b.size += size
	}
}

// flush sends what is queued. It returns the first error of all that was sent.
func (b *batch) flush(ctx context.Context) error {
	if b.err == nil && b.queue.Len() > 0 {
		b.err = b.tx.SendBatch(ctx, &b.queue).Close()
		b.queue, b.size = pgx.Batch{}, 0
	}
	return b.err
}

// column returns one column of rows.
func column[R, V any](rows []R, value func(R) V) []V {
	vs := make([]V, len(rows))
	for i, r := range rows {
		vs[i] = value(r)
	}
	return vs
}

// chunkBytes cuts revisions into parts whose documents are not too much for one
// statement.
func chunkBytes(rows []rule.Row) iter.Seq[[]rule.Row] {
	return func(yield func([]rule.Row) bool) {
		for len(rows) > 0 {
			n, size := 0, 0
			for n < len(rows) && n < chunkRows && (n == 0 || size+len(rows[n].Document) <= chunkSize) {
				size += len(rows[n].Document)
				n++
			}
			if !yield(rows[:n]) {
				return
			}
			rows = rows[n:]
		}
	}
}

func queueSpans(ctx context.Context, b *batch, spans []*spanRow) {
	for rows := range slices.Chunk(spans, chunkRows) {
		b.add(ctx, 64*len(rows), `INSERT INTO span (name, number, since, until, leaf, withdrawn) SELECT name, number, since, until, leaf, withdrawn
			FROM unnest($1::TEXT[], $2::BIGINT[], $3::BIGINT[], $4::BIGINT[], $5::BIGINT[], $6::BOOLEAN[]) AS u (name, number, since, until, leaf, withdrawn)`,
			column(rows, func(r *spanRow) string { return string(r.name) }), column(rows, func(r *spanRow) int64 { return r.number }), column(rows, func(r *spanRow) int64 { return r.since }),
			column(rows, func(r *spanRow) int64 { return r.until }), column(rows, func(r *spanRow) int64 { return r.leaf }), column(rows, func(r *spanRow) bool { return r.withdrawn }))
	}
}

func queueTerms(ctx context.Context, b *batch, terms []termRow) {
	for rows := range slices.Chunk(terms, chunkRows) {
		b.add(ctx, 64*len(rows), `INSERT INTO term (term, name, number) SELECT term, name, number FROM unnest($1::BYTEA[], $2::TEXT[], $3::BIGINT[]) AS u (term, name, number)`,
			column(rows, func(r termRow) []byte { return r.term }), column(rows, func(r termRow) string { return string(r.name) }), column(rows, func(r termRow) int64 { return r.number }))
	}
}

func queueWords(ctx context.Context, b *batch, words []wordRow) {
	for rows := range slices.Chunk(words, chunkRows) {
		b.add(ctx, 64*len(rows), `INSERT INTO word (word, words, leaf, name, number) SELECT word, words, leaf, name, number
			FROM unnest($1::BYTEA[], $2::BIGINT[], $3::BIGINT[], $4::TEXT[], $5::BIGINT[]) AS u (word, words, leaf, name, number)`,
			column(rows, func(r wordRow) []byte { return r.word }), column(rows, func(r wordRow) int64 { return r.words }), column(rows, func(r wordRow) int64 { return r.leaf }),
			column(rows, func(r wordRow) string { return string(r.name) }), column(rows, func(r wordRow) int64 { return r.number }))
	}
}
