package postgres

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"proofload/server/store"
)

const (
	// groupRequests and groupChanges bound what one transaction takes in, so that the
	// first in line does not wait for ever.
	groupRequests = 64
	groupChanges  = 4096
	// attemptTime bounds one transaction where the database has gone silent. It is
	// above what the database itself cuts off.
	attemptTime = 45 * time.Second
	// forgetAfter is how long the row of a store that ended without closing is kept.
	forgetAfter = 7 * 24 * time.Hour
)

// job is one piece of work for the writer.
type job interface {
	// wants names what is to be read before the job is settled.
	wants(w *wants)
	// settle decides by what was read, and only then adds to the plan. An error
	// refuses the job; the plan is then as it was.
	settle(ctx context.Context, p *plan) (position int64, err error)
	// size is about how many rows of the log it writes.
	size() int
}

// request is a job and the caller that waits for it.
type request struct {
	job
	ctx  context.Context
	done chan outcome
}

type outcome struct {
	position int64
	err      error
}

// writer runs the jobs of one store, many to a transaction. Each takes its own
// position, and all share one commit.
type writer struct {
	s     *Store
	queue chan *request
	// node names the store's row in the table writer, attempt counts its transactions.
	node       string
	attempts   int64
	registered bool
}

// do hands a job to the writer and waits for its outcome. A transaction that has
// begun is waited for even past the context's end, because its outcome is near and the
// caller wants to know it.
func (s *Store) do(ctx context.Context, j job) (int64, error) {
	if err := s.usable(ctx); err != nil {
		return 0, err
	}
	r := &request{job: j, ctx: ctx, done: make(chan outcome, 1)}
	select {
	case s.write.queue <- r:
	case <-s.quit:
		return 0, s.usable(ctx)
	case <-ctx.Done():
		return 0, ctx.Err()
	}
	o := <-r.done
	return o.position, o.err
}

func (w *writer) run() {
	for {
		select {
		case r := <-w.queue:
			w.commit(w.gather(r))
		case <-w.s.quit:
			return
		}
	}
}

// gather takes in what is waiting behind a first request.
func (w *writer) gather(first *request) []*request {
	group := []*request{first}
	changes := first.size()
	// Those whom the last commit woke are about to come back.
	runtime.Gosched()
	for len(group) < groupRequests && changes < groupChanges {
		select {
		case r := <-w.queue:
			group = append(group, r)
			changes += r.size()
		default:
			return group
		}
	}
	return group
}

// commit runs a group in one transaction, again where that may help, and tells each
// how it went.
func (w *writer) commit(group []*request) {
	for r := w.s.retry(); ; {
		if group = waiting(group); len(group) == 0 {
			return
		}
		outcomes, err := w.attempt(group)
		if err == nil {
			for i, r := range group {
				r.done <- outcomes[i]
			}
			return
		}
		if r.again(group[0].ctx, err) || group[0].ctx.Err() != nil {
			continue
		}
		if troubleOf(err) == final && len(group) > 1 {
			// One request is at fault: retry each alone.
			for _, one := range group {
				w.commit([]*request{one})
			}
			return
		}
		for _, r := range group {
			r.done <- outcome{err: w.s.explain(err)}
		}
		return
	}
}

// waiting answers the requests whose context has ended and returns the others.
func waiting(group []*request) []*request {
	var rest []*request
	for _, r := range group {
		if err := r.ctx.Err(); err != nil {
			r.done <- outcome{err: err}
			continue
		}
		rest = append(rest, r)
	}
	return rest
}

// attempt runs a group in one transaction. Where it fails, nothing was written.
func (w *writer) attempt(group []*request) (outcomes []outcome, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), attemptTime)
	defer cancel()
	if err := w.register(ctx); err != nil {
		return nil, err
	}
	var p *plan
	err = lend(ctx, w.s.writes, func(c *pgx.Conn) error {
		tx, err := c.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.Serializable})
		if err != nil {
			return err
		}
		if p, outcomes, err = w.fill(ctx, tx, group); err == nil && !p.empty() {
			w.attempts++
			err = p.write(ctx, tx, w.node, w.attempts)
		}
		if err != nil || p.empty() {
			return errors.Join(err, rollback(ctx, tx))
		}
		if err := tx.Commit(ctx); err != nil {
			return commitError(err)
		}
		return nil
	})
	var unsure unsureError
	if errors.As(err, &unsure) {
		committed, resolveErr := w.resolve()
		switch {
		case resolveErr != nil:
			unknown := fmt.Errorf("store %s: %w: the connection was lost while it was written, and the database could not be asked since; read, or publish again under the same key (%w)", w.s.name, store.ErrUnknown, err)
			for i := range outcomes {
				if outcomes[i].err == nil {
					outcomes[i] = outcome{err: unknown}
				}
			}
			return outcomes, nil
		case committed:
			err = nil
		default:
			err = lostError{err}
		}
	}
	if errors.Is(err, errUnregistered) {
		w.registered = false
	}
	if err != nil {
		return nil, err
	}
	if p.head.Position > p.was.Position {
		w.s.published(p.head)
	}
	return outcomes, nil
}

// rollback ends a transaction that changes nothing. Where the connection is gone
// the database does it.
func rollback(ctx context.Context, tx pgx.Tx) error {
	if tx.Conn().IsClosed() {
		return nil
	}
	return tx.Rollback(ctx)
}

// fill settles the requests one after the other into a plan.
func (w *writer) fill(ctx context.Context, tx pgx.Tx, group []*request) (*plan, []outcome, error) {
	var ws wants
	for _, r := range group {
		r.wants(&ws)
	}
	p, err := w.s.load(ctx, tx, &ws)
	if err != nil {
		return nil, nil, err
	}
	outcomes := make([]outcome, len(group))
	for i, r := range group {
		position, err := r.settle(ctx, p)
		if err != nil && isEngine(err) {
			return nil, nil, err
		}
		outcomes[i] = outcome{position, err}
	}
	return p, outcomes, nil
}

// isEngine reports whether an error is the database's, not a refusal.
func isEngine(err error) bool {
	var e engineError
	return errors.As(err, &e)
}

// engineError marks an error of the database that came up while a job was settled.
type engineError struct{ error }

func (e engineError) Unwrap() error { return e.error }

// unsureError is an error of COMMIT after which it may have happened or not.
type unsureError struct{ error }

func (e unsureError) Unwrap() error { return e.error }

// commitError tells the failures of COMMIT apart. An error that the server reports and
// lives on after has rolled the transaction back. After anything else nobody knows.
func commitError(err error) error {
	var pg *pgconn.PgError
	if errors.Is(err, pgx.ErrTxCommitRollback) {
		return fmt.Errorf("%w (%w)", errMoved, err)
	}
	if errors.As(err, &pg) && pg.SeverityUnlocalized == "ERROR" && pg.Code != "40003" && pg.Code[:2] != "08" { // 40003: statement_completion_unknown
		return err
	}
	return unsureError{err}
}

// register puts the store's row into the table writer, and clears away rows that
// stores left behind which ended long ago.
func (w *writer) register(ctx context.Context) error {
	if w.registered {
		return nil
	}
	err := lend(ctx, w.s.writes, func(c *pgx.Conn) error {
		now := time.Now()
		if _, err := c.Exec(ctx, `DELETE FROM writer WHERE time < $1`, now.Add(-forgetAfter).UnixNano()); err != nil {
			return err
		}
		_, err := c.Exec(ctx, `INSERT INTO writer (node, attempt, time) VALUES ($1, $2, $3) ON CONFLICT (node) DO NOTHING`, w.node, w.attempts, now.UnixNano())
		return err
	})
	w.registered = err == nil
	return err
}

// resolve learns whether the last attempt committed. Its transaction has changed the
// store's row in the table writer, so anyone who has locked that row knows that the
// transaction has ended, and reads there how.
func (w *writer) resolve() (committed bool, err error) {
	ctx := context.Background()
	for r := w.s.retry(); ; {
		at := int64(0)
		err := lend(ctx, w.s.writes, func(c *pgx.Conn) error {
			ctx, cancel := context.WithTimeout(ctx, attemptTime)
			defer cancel()
			return c.QueryRow(ctx, `SELECT attempt FROM writer WHERE node = $1 FOR UPDATE`, w.node).Scan(&at)
		})
		if err == nil {
			return at == w.attempts, nil
		}
		if !r.again(ctx, err) {
			return false, err
		}
	}
}

// forget takes the store's row out of the table. Should that fail, another will.
func (w *writer) forget() {
	if !w.registered {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	lend(ctx, w.s.writes, func(c *pgx.Conn) error {
		_, err := c.Exec(ctx, `DELETE FROM writer WHERE node = $1`, w.node)
		return err
	})
}
