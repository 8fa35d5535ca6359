// Package postgres keeps a store in a PostgreSQL database, for when one machine is
// outgrown. Any number of servers share one database; none of them is special, and
// none holds anything that the others would have to know.
//
// # Order
//
// A publication's numbers come from the one row of log_head. A transaction reads it
// first, does all its work, and changes it last, on condition that it still is what
// was read: so positions become visible in their order and without gaps, and anyone who
// reads up to a position has read all there will ever be up to it. A sequence cannot
// do that, since its numbers are given out before they can be seen.
//
// # Failures
//
// Transactions are SERIALIZABLE and are tried again when the database says that
// another came between. When the connection is lost while a transaction commits, the
// store asks the database afterwards whether it did, by the row that every
// transaction of this store marks; only where that cannot be learnt is the outcome
// ErrUnknown.
//
// The SQL is what PostgreSQL shares with the engines that speak its protocol: a test
// holds every statement to a list. NOTIFY is sent as a hint; nothing depends on it.
package postgres

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"proofload/server/store"
	"proofload/server/store/index"
)

// Options tune a store. The zero Options are right for most.
type Options struct {
	// Poll is how often Await looks for what other servers have published when no
	// hint comes; 0 means once a second.
	Poll time.Duration
	// Patience is how long a call goes on trying while the database cannot be
	// reached or others keep coming between; 0 means 10 s.
	Patience time.Duration
}

// settings are what tests may set besides.
type settings struct {
	Options
	// quiet sends and hears no hints.
	quiet bool
	// edition is index.Edition, steps the migrations.
	edition int64
	steps   []string
	// configure changes how connections are made.
	configure func(*pgxpool.Config)
}

func usual(o Options) settings {
	return settings{Options: o, edition: index.Edition, steps: migrations}
}

// Store is a store in one schema of a database. Use Open.
type Store struct {
	// name is what errors call it; it holds no password.
	name string
	set  settings
	// reads and writes are two pools, so that many readers never keep the writer waiting.
	reads, writes *pgxpool.Pool
	write         writer
	follow        follower
	// seen is a position that is known to be published, leaves a number of leaves that
	// is known to be there. They only save asking: what is published stays so.
	seen, leaves atomic.Int64

	quit    chan struct{}
	under   sync.WaitGroup
	closing sync.Once
}

var _ store.Store = (*Store)(nil)

// Open opens the store at an address, postgres://USER@HOST:PORT/DATABASE, and makes
// its tables where there are none, in the schema that search_path names, "proofload"
// where it names none. The context bounds the opening only.
//
// Open fails with an error that names the address, without its password, where the
// database cannot be reached, and with ErrNewer where a newer version has written
// the store. It brings a store of an older version up to date, which an interruption
// does not harm; other servers may do the same at the same time.
func Open(ctx context.Context, address string, o Options) (*Store, error) {
	return open(ctx, address, usual(o))
}

func open(ctx context.Context, address string, set settings) (_ *Store, err error) {
	if set.Poll == 0 {
		set.Poll = time.Second
	}
	if set.Patience == 0 {
		set.Patience = 10 * time.Second
	}
	cfg, err := parse(address)
	if err != nil {
		return nil, err
	}
	if set.configure != nil {
		set.configure(cfg)
	}
	s := &Store{name: Address(address), set: set, quit: make(chan struct{})}
	s.write = writer{s: s, node: rand.Text(), queue: make(chan *request)}
	s.follow = follower{s: s, moved: make(chan struct{}), look: make(chan struct{}, 1), tell: make(chan struct{}, 1)}
	if s.reads, err = pgxpool.NewWithConfig(ctx, cfg); err != nil {
		return nil, s.explain(err)
	}
	few := cfg.Copy()
	few.MaxConns, few.MinConns = 2, 0
	if s.writes, err = pgxpool.NewWithConfig(ctx, few); err != nil {
		s.reads.Close()
		return nil, s.explain(err)
	}
	defer func() {
		if err != nil {
			s.reads.Close()
			s.writes.Close()
		}
	}()
	if err := s.greet(ctx); err != nil {
		return nil, err
	}
	if err := s.prepare(ctx, cfg.ConnConfig.RuntimeParams["search_path"]); err != nil {
		return nil, err
	}
	s.under.Go(s.write.run)
	if !set.quiet {
		s.under.Go(s.follow.announce)
	}
	return s, nil
}

// greet fails at once where nobody answers, which at the beginning is rather a wrong
// address than a database that will be back in a moment.
func (s *Store) greet(ctx context.Context) error {
	var pg *pgconn.PgError
	err := lend(ctx, s.reads, func(*pgx.Conn) error { return nil })
	if troubleOf(err) == contended || errors.As(err, &pg) && troubleOf(err) == lost {
		return nil // it answers, and will be asked again
	}
	return s.explain(err)
}

// prepare brings the tables up to date, and what is derived from the log.
func (s *Store) prepare(ctx context.Context, schema string) error {
	if err := s.migrate(ctx, schema); err != nil {
		return err
	}
	edition := int64(0)
	err := s.read(ctx, func(ctx context.Context, q querier) error {
		return q.QueryRow(ctx, `SELECT edition FROM log_head WHERE id = 1`).Scan(&edition)
	})
	switch {
	case err != nil:
		return err
	case edition > s.set.edition:
		return fmt.Errorf("store %s: %w: its tables are derived by edition %d, this program knows %d; use the newer program", s.name, store.ErrNewer, edition, s.set.edition)
	case edition < s.set.edition:
		return s.rebuild(ctx)
	}
	return nil
}

// Head implements store.Store.
func (s *Store) Head(ctx context.Context) (h store.Head, err error) {
	err = s.read(ctx, func(ctx context.Context, q querier) error {
		var nanos int64
		err := q.QueryRow(ctx, `SELECT position, leaves, time FROM log_head WHERE id = 1`).Scan(&h.Position, &h.Revisions, &nanos)
		h.Time = headTime(h.Position, nanos)
		return err
	})
	if err != nil {
		return store.Head{}, err
	}
	s.saw(h)
	return h, nil
}

// headTime is the time of a head, which an empty one has not.
func headTime(position, nanos int64) time.Time {
	if position == 0 {
		return time.Time{}
	}
	return fromNanos(nanos)
}

func fromNanos(n int64) time.Time { return time.Unix(0, n).UTC() }

// inForce is the end of the span of a revision that nothing has superseded.
const inForce = math.MaxInt64

// saw notes what is published.
func (s *Store) saw(h store.Head) {
	raise(&s.seen, h.Position)
	raise(&s.leaves, h.Revisions)
}

func raise(a *atomic.Int64, to int64) {
	for old := a.Load(); to > old && !a.CompareAndSwap(old, to); old = a.Load() {
	}
}

// Close implements store.Store.
func (s *Store) Close() error {
	s.closing.Do(func() {
		close(s.quit)
		s.under.Wait()
		s.write.forget()
		s.reads.Close()
		s.writes.Close()
	})
	return nil
}

func (s *Store) usable(ctx context.Context) error {
	select {
	case <-s.quit:
		return fmt.Errorf("store %s: %w", s.name, store.ErrClosed)
	default:
		return ctx.Err()
	}
}

var errForeign = errors.New("the schema is not a proofload store; name another one with search_path, it is made when it is not there")
