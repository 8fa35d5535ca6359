package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/puddle/v2"

	"proofload/server/store"
)

// querier is what reads need of a connection or a transaction.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
	SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults
}

// trouble is how an error is to be taken.
type trouble int

const (
	// final errors come again when the same is tried again.
	final trouble = iota
	// contended says that another transaction came between.
	contended
	// lost says that the connection is gone, or that there is none for the moment.
	lost
)

// maxTries bounds how often work is begun again because others came between.
const maxTries = 100

// errMoved says that the head moved between the beginning and the end of a transaction.
// Engines that let it come that far are to be treated as those that refuse by themselves.
var errMoved = errors.New("the head has moved meanwhile")

// lostError marks an error after which the connection was found closed.
type lostError struct{ error }

func (e lostError) Unwrap() error { return e.error }

func troubleOf(err error) trouble {
	var pg *pgconn.PgError
	var connect *pgconn.ConnectError
	var network net.Error
	var gone lostError
	switch {
	case isContract(err):
		return final
	case errors.Is(err, errMoved), errors.Is(err, errUnregistered):
		return contended
	case errors.As(err, &pg):
		switch pg.Code {
		case "40001", "40P01", // serialization_failure, deadlock_detected
			"55P03", // lock_not_available: lock_timeout
			"23505": // unique_violation: another took the number, the name or the key
			return contended
		case "57P01", "57P02", "57P03", // admin_shutdown, crash_shutdown, cannot_connect_now
			"53300": // too_many_connections
			return lost
		}
		if pg.Code[:min(2, len(pg.Code))] == "08" || errors.As(err, &gone) {
			return lost
		}
		return final
	case errors.As(err, &connect), errors.As(err, &network), errors.As(err, &gone),
		errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), pgconn.SafeToRetry(err):
		return lost
	}
	return final
}

// retry is the one place that decides whether to try again, and waits before it.
type retry struct {
	s     *Store
	begun time.Time
	tries int
}

func (s *Store) retry() *retry { return &retry{s: s, begun: time.Now()} }

// again reports whether work that failed is worth beginning once more, after a pause
// that grows and is never the same for two.
func (r *retry) again(ctx context.Context, err error) bool {
	t := troubleOf(err)
	if r.tries++; t == final || time.Since(r.begun) > r.s.set.Patience || t == contended && r.tries >= maxTries {
		return false
	}
	pause, most := 200*time.Microsecond, 50*time.Millisecond
	if t == lost {
		pause, most = 10*time.Millisecond, 250*time.Millisecond
	}
	pause = min(pause<<min(r.tries-1, 10), most)
	timer := time.NewTimer(pause/2 + rand.N(pause))
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// read runs work that changes nothing, and runs it again where that may help. Work
// begins with nothing each time.
func (s *Store) read(ctx context.Context, work func(ctx context.Context, q querier) error) error {
	return s.try(ctx, s.reads, func(c *pgx.Conn) error { return work(ctx, c) })
}

// snapshot is read where several statements must see the same moment.
func (s *Store) snapshot(ctx context.Context, work func(ctx context.Context, q querier) error) error {
	return s.try(ctx, s.reads, func(c *pgx.Conn) error {
		return inTransaction(ctx, c, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error { return work(ctx, tx) })
	})
}

// change runs a transaction that may as well happen twice, whatever became of the
// first: that is what makes it safe to run it again after any loss.
func (s *Store) change(ctx context.Context, work func(ctx context.Context, tx pgx.Tx) error) error {
	return s.try(ctx, s.writes, func(c *pgx.Conn) error {
		return inTransaction(ctx, c, pgx.TxOptions{IsoLevel: pgx.Serializable}, func(tx pgx.Tx) error { return work(ctx, tx) })
	})
}

func inTransaction(ctx context.Context, c *pgx.Conn, o pgx.TxOptions, work func(pgx.Tx) error) error {
	return pgx.BeginTxFunc(ctx, c, o, work)
}

func (s *Store) try(ctx context.Context, pool *pgxpool.Pool, work func(*pgx.Conn) error) error {
	for r := s.retry(); ; {
		if err := s.usable(ctx); err != nil {
			return err
		}
		err := lend(ctx, pool, work)
		if err == nil {
			return nil
		}
		// An engine calls it a lost connection when the context ends.
		if again := r.again(ctx, err); ctx.Err() != nil {
			return ctx.Err()
		} else if !again {
			return s.explain(err)
		}
	}
}

// lend returns work a connection, and marks its error where the connection broke.
func lend(ctx context.Context, pool *pgxpool.Pool, work func(*pgx.Conn) error) error {
	c, err := pool.Acquire(ctx)
	if err != nil {
		return err
	}
	defer c.Release()
	if err = work(c.Conn()); err != nil && c.Conn().IsClosed() {
		return lostError{err}
	}
	return err
}

// explain turns an error of the engine into one of the contract that names the store.
// Errors that name it already, or are the context's, stay as they are.
func (s *Store) explain(err error) error {
	var pg *pgconn.PgError
	code := ""
	if errors.As(err, &pg) {
		code = pg.Code
	}
	switch {
	case err == nil:
		return nil
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded), isContract(err):
		return err
	case errors.Is(err, puddle.ErrClosedPool):
		return fmt.Errorf("store %s: %w", s.name, store.ErrClosed)
	case code == "53100": // disk_full
		return fmt.Errorf("store %s: %w: nothing was written, reads go on; free space and try again (%w)", s.name, store.ErrFull, err)
	case code == "XX001", code == "XX002": // data_corrupted, index_corrupted
		return fmt.Errorf("store %s: %w: restore the database from a backup (%w)", s.name, store.ErrCorrupt, err)
	case code == "23505":
		return fmt.Errorf("store %s: %w: what is derived from the log disagrees with it; rebuild it (%w)", s.name, store.ErrCorrupt, err)
	case code == "25006": // read_only_sql_transaction
		return fmt.Errorf("store %s: %w: the database only reads, as a replica does; give the address of the one that writes (%w)", s.name, store.ErrReadOnly, err)
	case code == "42501": // insufficient_privilege
		return fmt.Errorf("store %s: %w: the database role lacks a right; grant it (%w)", s.name, store.ErrReadOnly, err)
	case code == "42703", code == "42P01": // undefined_column, undefined_table
		return fmt.Errorf("store %s: %w (%w)", s.name, errForeign, err)
	case troubleOf(err) == lost:
		return fmt.Errorf("store %s: the database cannot be reached; see that it runs and that the address is right (%w)", s.name, err)
	case troubleOf(err) == contended:
		return fmt.Errorf("store %s: others kept coming between for %s; try again later (%w)", s.name, s.set.Patience, err)
	}
	return fmt.Errorf("store %s: %w", s.name, err)
}

// isContract reports whether an error is one that a store may give, but for the
// context's.
func isContract(err error) bool {
	for _, target := range []error{
		store.ErrNotFound, store.ErrConflict, store.ErrFuture, store.ErrInvalid, store.ErrFull, store.ErrCorrupt,
		store.ErrReadOnly, store.ErrUnknown, store.ErrNewer, store.ErrClosed,
	} {
		if errors.Is(err, target) {
			return true
		}
	}
	return false
}
