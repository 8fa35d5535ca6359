package sqlite

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync/atomic"
	"time"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/index"
)

const (
	// groupRequests and groupChanges bound what one transaction takes in, so that the
	// first in line does not wait for ever.
	groupRequests = 64
	groupChanges  = 4096
	// checkpointPages is how far the write-ahead log grows before it is moved into
	// the file: 4 MiB. A log that begins again writes over itself, which a disk syncs
	// faster than one that grows.
	checkpointPages = 1000
)

// request is one piece of work for the writer.
type request struct {
	ctx context.Context
	// work reads what it needs, decides, and only then writes. Where it publishes it
	// moves the head of the batch and adds its revisions. An error before it wrote
	// refuses the request and harms no other; refused says that nothing was written.
	work func(c *conn, b *batch) (position int64, refused bool, err error)
	// changes is about how much it writes.
	changes int
	done    chan outcome
}

// batch is what a transaction will have done once it is committed.
type batch struct {
	head    store.Head
	edge    ledger.Edge
	entries []*entry
}

type outcome struct {
	position int64
	err      error
}

// writer owns the one connection that writes.
type writer struct {
	s     *Store
	c     *conn
	queue chan *request
	head  store.Head
	edge  ledger.Edge
	// mergeAt is the length at which the tail is to be shortened.
	mergeAt int
	// pages is the length of the write-ahead log, moved the length at the last
	// checkpoint; frames is pages for others to read.
	pages, moved int
	frames       atomic.Int64
	// stopped says that the engine gave up on the connection.
	stopped bool
}

func openWriter(ctx context.Context, s *Store, uri string) (_ *writer, err error) {
	w := &writer{s: s, queue: make(chan *request), mergeAt: s.set.tail}
	if w.c, err = dial(ctx, uri, s.set.Cache/2); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			w.c.close()
		}
	}()
	if err := w.c.Exec(`PRAGMA synchronous = ` + s.set.synchronous + `; PRAGMA journal_size_limit = 67108864`); err != nil {
		return nil, err
	}
	w.c.WALHook(func(_ *sqlite3.Conn, _ string, pages int) error {
		w.pages = pages
		w.frames.Store(int64(pages))
		return nil
	})
	if err := prepare(ctx, w.c); err != nil {
		if isContract(err) {
			err = fmt.Errorf("store %s: %w", s.path, err)
		}
		return nil, err
	}
	if w.head, err = readHead(w.c); err != nil {
		return nil, err
	}
	s.setHead(w.head)
	if w.edge, err = ledger.ReadEdge(w.head.Revisions, w.c); err != nil {
		return nil, err
	}
	edition := int64(0)
	if err := w.c.q(`SELECT edition FROM derived WHERE id = 1`).each(scanInt(&edition)); err != nil {
		return nil, err
	}
	if edition != index.Edition {
		if err := w.transaction(func() error { return rebuild(ctx, w.c) }); err != nil {
			return nil, err
		}
	}
	return w, w.loadTail(ctx)
}

func readHead(c *conn) (h store.Head, err error) {
	err = c.q(`SELECT r.position, r.leaf, p.time FROM revision AS r JOIN revision AS p ON p.leaf = r.origin ORDER BY r.leaf DESC LIMIT 1`).each(func(r *sqlite3.Stmt) error {
		h = store.Head{Position: r.ColumnInt64(0), Revisions: r.ColumnInt64(1), Time: fromNanos(r.ColumnInt64(2))}
		return nil
	})
	return h, err
}

func fromNanos(n int64) time.Time { return time.Unix(0, n).UTC() }

// do hands work to the writer and waits for its outcome. Once the writer has taken
// it, it waits even past the context's end, because by then the outcome is near and
// the caller wants to know it.
func (s *Store) do(ctx context.Context, changes int, work func(*conn, *batch) (int64, bool, error)) (int64, error) {
	if err := s.usable(ctx); err != nil {
		return 0, err
	}
	if err := s.healthy(); err != nil {
		return 0, err
	}
	r := &request{ctx: ctx, work: work, changes: changes, done: make(chan outcome, 1)}
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
	defer close(w.s.done)
	for {
		if len(w.s.tail.entries) >= w.mergeAt {
			// A long tail is shortened a share at a time; who waits comes in between.
			w.mergeTail()
			w.tend()
			select {
			case r := <-w.queue:
				w.commit(w.gather(r))
			case <-w.s.quit:
				return
			default:
			}
			continue
		}
		select {
		case r := <-w.queue:
			w.commit(w.gather(r))
			w.tend()
		case <-w.s.quit:
			return
		}
	}
}

// tend moves the write-ahead log into the file when it has grown.
func (w *writer) tend() {
	if w.pages < w.moved {
		w.moved = 0 // the log began anew
	}
	if w.pages-w.moved >= w.s.set.checkpoint {
		w.checkpoint(func() error {
			_, _, err := w.c.WALCheckpoint("main", sqlite3.CHECKPOINT_PASSIVE)
			return err
		})
	}
}

// gather takes in what is waiting behind a first request.
func (w *writer) gather(first *request) []*request {
	group := []*request{first}
	changes := first.changes
	// Those whom the last commit woke are about to come back.
	runtime.Gosched()
	for len(group) < groupRequests && changes < groupChanges {
		select {
		case r := <-w.queue:
			group = append(group, r)
			changes += r.changes
		default:
			return group
		}
	}
	return group
}

// commit runs a group in one transaction and tells each how it went. A request that
// fails after it wrote spoils the transaction; it is informed and the others run again.
func (w *writer) commit(group []*request) {
	for len(group) > 0 {
		outcomes, spoiler, err := w.attempt(group)
		if err == nil {
			for i, r := range group {
				r.done <- outcomes[i]
			}
			return
		}
		if spoiler < 0 {
			for _, r := range group {
				r.done <- outcome{err: err}
			}
			return
		}
		group[spoiler].done <- outcome{err: err}
		group = slices.Delete(group, spoiler, spoiler+1)
	}
}

// attempt runs a group in one transaction. On an error nothing was written, unless
// it is ErrUnknown; spoiler is the request at fault, -1 where none is.
func (w *writer) attempt(group []*request) (outcomes []outcome, spoiler int, err error) {
	outcomes = make([]outcome, len(group))
	spoiler = -1
	b := batch{head: w.head, edge: w.edge}
	err = w.transaction(func() error {
		for i, r := range group {
			if err := r.ctx.Err(); err != nil {
				outcomes[i].err = err
				continue
			}
			position, refused, err := r.work(w.c, &b)
			switch {
			case err == nil:
				outcomes[i].position = position
			case refused && !isEngine(err):
				outcomes[i].err = err
			default:
				if !isEngine(err) || errors.Is(err, sqlite3.CONSTRAINT) {
					spoiler = i
				}
				return err
			}
		}
		return nil
	})
	if err == nil && b.head != w.head {
		// In this order: anyone who sees the head finds all of it.
		w.s.tail.add(b.entries)
		w.head, w.edge = b.head, b.edge
		w.s.setHead(b.head)
	}
	if err == nil {
		// Only now, because notes are seen from the commit on, and the head should be, too.
		if err := w.s.Present(); err != nil {
			return nil, -1, fmt.Errorf("store %s: %w: what was committed may be lost (%w)", w.s.path, store.ErrUnknown, err)
		}
	}
	return outcomes, spoiler, err
}

// transaction runs work between BEGIN and COMMIT, or ROLLBACK where work fails or
// wrote nothing. Where COMMIT itself fails for another reason than a full disk, what
// was written may be on the disk or not: the store takes no more writes.
func (w *writer) transaction(work func() error) (err error) {
	if err := w.s.healthy(); err != nil {
		return err
	}
	if w.s.log != nil {
		if err := w.s.Present(); err != nil {
			return fmt.Errorf("%w: %w", store.ErrReadOnly, err)
		}
	}
	defer func() {
		// The engine runs in its own small memory and panics when that is used up.
		if r := recover(); r != nil {
			w.stopped = true
			w.s.poison(fmt.Errorf("engine gave up: %v", r))
			err = fmt.Errorf("store %s: %w: engine gave up: %v", w.s.path, store.ErrUnknown, r)
		}
	}()
	if err := w.c.q(`BEGIN IMMEDIATE`).run(); err != nil {
		return w.s.explain(err)
	}
	before := w.c.TotalChanges()
	if err = work(); err != nil {
		return errors.Join(w.s.explain(err), w.rollback())
	}
	if w.c.TotalChanges() == before {
		return w.rollback()
	}
	if err = w.c.q(`COMMIT`).run(); err == nil {
		return nil
	}
	rolledBack := w.rollback()
	if errors.Is(err, sqlite3.FULL) && rolledBack == nil {
		return w.s.explain(err)
	}
	w.s.poison(err)
	return fmt.Errorf("store %s: %w: the commit failed and may or may not be on the disk; open the store again and look (%w)", w.s.path, store.ErrUnknown, err)
}

// rollback ends a transaction that the engine has not ended by itself. Where even
// that fails, what the connection holds in memory is not to be trusted.
func (w *writer) rollback() error {
	if w.c.GetAutocommit() {
		return nil
	}
	err := w.c.Exec(`ROLLBACK`)
	if err != nil {
		w.s.poison(err)
	}
	return err
}

// checkpoint moves the write-ahead log into the file. A sync that fails here must
// not be tried again: the system may have dropped what it could not write and call
// the next one a success.
func (w *writer) checkpoint(move func() error) error {
	if w.stopped || w.s.healthy() != nil {
		return nil
	}
	err := move()
	switch {
	case err == nil:
		w.moved = w.pages
	case errors.Is(err, sqlite3.BUSY), errors.Is(err, sqlite3.FULL):
		// Readers are in the way, or there is no room to move into: later.
	default:
		w.s.poison(err)
	}
	return err
}

// close moves the log into the file and closes it. A store that failed before is
// left as it is, for the next Open to recover.
func (w *writer) close() error {
	if w.stopped {
		return nil
	}
	healthy := w.s.healthy() == nil
	var err error
	if healthy {
		err = w.checkpoint(w.c.truncateLog)
		healthy = err == nil
	}
	if healthy {
		// Nothing is left to checkpoint; this only tidies the log's file away.
		if _, err := w.c.Config(sqlite3.DBCONFIG_NO_CKPT_ON_CLOSE, false); err != nil {
			return errors.Join(err, w.c.close())
		}
	}
	if errors.Is(err, sqlite3.FULL) || errors.Is(err, sqlite3.BUSY) {
		err = nil // what could not be moved, for want of space or because a backup reads, is safe where it is
	}
	return errors.Join(err, w.c.close())
}
