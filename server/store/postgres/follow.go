package postgres

import (
	"context"
	"errors"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"proofload/server/store"
)

// follower notifies those who wait for a position when it is there. It looks when this
// store has published, when a hint comes that another has, and from time to time
// anyway, because hints get lost and some engines give none. It rests while nobody waits.
type follower struct {
	s       *Store
	begin   sync.Once
	mu      sync.Mutex
	head    store.Head
	moved   chan struct{} // closed when head moves on
	waiting int
	// look asks it to look now, tell to hint others.
	look, tell chan struct{}
}

// Await implements store.Store.
func (s *Store) Await(ctx context.Context, position int64) (store.Head, error) {
	if position < 0 {
		return store.Head{}, negative(position)
	}
	head, err := s.Head(ctx)
	if err != nil || head.Position >= position {
		return head, err
	}
	f := &s.follow
	f.start()
	f.wait(1)
	defer f.wait(-1)
	poke(f.look) // it may have rested since the last look
	for {
		f.mu.Lock()
		head, moved := f.head, f.moved
		f.mu.Unlock()
		if head.Position >= position {
			return head, nil
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return store.Head{}, ctx.Err()
		case <-s.quit:
			return store.Head{}, s.usable(ctx)
		}
	}
}

func poke(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

func (f *follower) wait(n int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.waiting += n
}

func (f *follower) idle() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.waiting == 0
}

// saw takes in a head that was read.
func (f *follower) saw(head store.Head) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if head.Position > f.head.Position {
		f.head = head
		close(f.moved)
		f.moved = make(chan struct{})
	}
}

// published says that this store has published up to a head.
func (s *Store) published(head store.Head) {
	s.saw(head)
	s.follow.saw(head)
	if !s.set.quiet {
		poke(s.follow.tell)
	}
}

// start begins to follow, once.
func (f *follower) start() {
	f.begin.Do(func() {
		f.s.under.Go(f.run)
		if !f.s.set.quiet {
			f.s.under.Go(f.listen)
		}
	})
}

// run looks at the head while somebody waits.
func (f *follower) run() {
	ctx, cancel := f.s.untilQuit()
	defer cancel()
	for {
		poll := f.s.set.Poll*4/5 + rand.N(f.s.set.Poll*2/5+1)
		timer := time.NewTimer(poll)
		select {
		case <-f.look:
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return
		}
		timer.Stop()
		if f.idle() {
			continue
		}
		if head, err := f.s.Head(ctx); err == nil {
			f.saw(head) // and else the next look tells
		}
	}
}

// untilQuit returns a context that ends when the store is closed.
func (s *Store) untilQuit() (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		select {
		case <-s.quit:
		case <-ctx.Done():
		}
		cancel()
	}()
	return ctx, cancel
}

// unsupported reports whether an engine says that it has no such thing as hints.
func unsupported(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && (pg.Code == "0A000" || pg.Code == "42601" || pg.Code == "25006")
}

// listen hears the hints of others, on a connection of its own. Whatever was missed
// while it was away is made up for by looking when it is back.
func (f *follower) listen() {
	ctx, cancel := f.s.untilQuit()
	defer cancel()
	for pause := 100 * time.Millisecond; ctx.Err() == nil; pause = min(2*pause, 30*time.Second) {
		err := f.hear(ctx, func() { pause = 100 * time.Millisecond })
		if unsupported(err) {
			return
		}
		select {
		case <-time.After(pause/2 + rand.N(pause)):
		case <-ctx.Done():
		}
	}
}

func (f *follower) hear(ctx context.Context, connected func()) error {
	c, err := pgx.ConnectConfig(ctx, f.s.reads.Config().ConnConfig)
	if err != nil {
		return err
	}
	defer func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		c.Close(ctx)
	}()
	if _, err := c.Exec(ctx, `LISTEN proofload_published`); err != nil {
		return err
	}
	connected()
	for {
		poke(f.look)
		if _, err := c.WaitForNotification(ctx); err != nil {
			return err
		}
	}
}

// announce hints others that something was published. Several publications make one
// hint, and nobody waits for it.
func (f *follower) announce() {
	ctx, cancel := f.s.untilQuit()
	defer cancel()
	for {
		select {
		case <-f.tell:
		case <-ctx.Done():
			return
		}
		err := lend(ctx, f.s.writes, func(c *pgx.Conn) error {
			_, err := c.Exec(ctx, `NOTIFY proofload_published`)
			return err
		})
		if unsupported(err) {
			return
		}
	}
}
