// Package guard keeps a running server from serving a history that went back or
// forked: a database restored under it, or a replica promoted that lags behind. It
// remembers the highest position that was seen, with the root of the ledger's tree
// there, in memory and in a file outside the database. A history that does not go on
// from it is not served, and nothing is written to it, until the right one is back or
// a restore is declared.
package guard

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/specdata"
)

// Options tune a guard.
type Options struct {
	// File is where the mark is kept, "" for memory only.
	File string
	// Every is how often the head is looked at besides; 0 means once a second.
	Every time.Duration
	// Scrub is how often everything is checked, the first time soon after the start; 0
	// means once a day, a negative one never.
	Scrub time.Duration
	Log   *slog.Logger
	// Now is the clock, nil the system's.
	Now func() time.Time
	// ClockChecked says that somebody has looked at the clock: a long time without a
	// publication is then no reason to doubt it.
	ClockChecked bool
}

// Store is a store that does not go back. It implements store.Store. All methods may
// be called from many goroutines.
type Store struct {
	store.Store
	set   Options
	epoch store.Epoch
	clock clock

	mark atomic.Pointer[mark]
	// moving serialises what moves the mark.
	moving sync.Mutex
	// why says why nothing is served, nil while it is; wrong what the last scrub found.
	why   atomic.Pointer[error]
	wrong atomic.Pointer[error]

	stop    context.CancelFunc
	stopped sync.WaitGroup
	closing sync.Once
	closed  error
}

// mark is the highest head that was seen, and the edge of the ledger's tree there.
type mark struct {
	head store.Head
	edge ledger.Edge
}

var _ store.Store = (*Store)(nil)

// Open guards a store, which it closes with itself, also where it fails. The error is
// ErrWentBack where the store is behind the mark in the file, or is another history.
func Open(ctx context.Context, s store.Store, o Options) (_ *Store, err error) {
	if o.Every == 0 {
		o.Every = time.Second
	}
	if o.Scrub == 0 {
		o.Scrub = 24 * time.Hour
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	g := &Store{Store: s, set: o}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
		}
	}()
	if g.epoch, err = ReadEpoch(ctx, s); err != nil {
		return nil, err
	}
	kept, err := ReadFile(o.File)
	if err != nil {
		return nil, err
	}
	if kept != nil && kept.Epoch <= g.epoch.Number {
		if err := g.goesOn(ctx, kept); err != nil {
			return nil, err
		}
	} else if kept != nil {
		return nil, wentBack("it is of epoch %d, and one of epoch %d was served before: an older file or database was put in its place", g.epoch.Number, kept.Epoch)
	}
	head, err := s.Head(ctx)
	if err != nil {
		return nil, err
	}
	m, err := g.read(ctx, head)
	if err != nil {
		return nil, err
	}
	g.mark.Store(m)
	if err := g.keep(); err != nil {
		return nil, err
	}
	last := time.Time{}
	if kept != nil {
		last = kept.Time
	}
	g.clock = newClock(o.Now(), head.Time, last, o.ClockChecked)
	run, stop := context.WithCancel(context.Background())
	g.stop = stop
	g.stopped.Go(func() { g.watch(run) })
	if o.Scrub > 0 {
		g.stopped.Go(func() { g.scrub(run) })
	}
	return g, nil
}

func wentBack(format string, args ...any) error {
	return fmt.Errorf("%w: %s; put the newest database back, or declare the older one with proofload restore", store.ErrWentBack, fmt.Sprintf(format, args...))
}

// goesOn checks that a store's history goes on from a mark that was kept.
func (g *Store) goesOn(ctx context.Context, kept *Mark) error {
	if kept.Epoch < g.epoch.Number {
		return nil // a restore was declared since, perhaps by another node
	}
	head, err := g.Store.Head(ctx)
	if err != nil {
		return err
	}
	if head.Position < kept.Position || head.Revisions < kept.Size {
		return wentBack("it is at position %d, and position %d was served before", head.Position, kept.Position)
	}
	edge, err := g.edge(ctx, kept.Size)
	if err != nil {
		return err
	}
	if root, err := edge.Root(); kept.Size > 0 && (err != nil || root != kept.Root) {
		return errors.Join(wentBack("its history up to position %d is not the one that was served before", kept.Position), err)
	}
	return nil
}

// edge reads the edge of the tree of so many leaves.
func (g *Store) edge(ctx context.Context, size int64) (ledger.Edge, error) {
	return ledger.ReadEdge(size, tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		stored, err := g.Store.Hashes(ctx, indexes)
		out := make([]tlog.Hash, len(stored))
		for i, h := range stored {
			out[i] = h
		}
		return out, err
	}))
}

func (g *Store) read(ctx context.Context, head store.Head) (*mark, error) {
	edge, err := g.edge(ctx, head.Revisions)
	return &mark{head, edge}, err
}

// observe takes in a head that was read after the mark was at was.
func (g *Store) observe(ctx context.Context, was *mark, head store.Head) error {
	if head.Position == was.head.Position && head.Revisions == was.head.Revisions && head.Time.Equal(was.head.Time) {
		return nil
	}
	if head.Position <= was.head.Position {
		return g.halt(wentBack("it is at position %d with %d revisions, and was at position %d with %d", head.Position, head.Revisions, was.head.Position, was.head.Revisions))
	}
	g.moving.Lock()
	defer g.moving.Unlock()
	now := g.mark.Load()
	if head.Position <= now.head.Position {
		return nil // others were faster
	}
	if err := g.extends(ctx, now); err != nil {
		return err
	}
	m, err := g.read(ctx, head)
	if err != nil {
		return err
	}
	g.mark.Store(m)
	return nil
}

// extends checks that the stored tree begins with the one of a mark.
func (g *Store) extends(ctx context.Context, m *mark) error {
	edge, err := g.edge(ctx, m.head.Revisions)
	switch {
	case errors.Is(err, store.ErrFuture):
		return g.halt(wentBack("its tree has fewer than the %d leaves of position %d, which was served before", m.head.Revisions, m.head.Position))
	case err != nil:
		return err
	case !slices.Equal(edge.Hashes, m.edge.Hashes):
		return g.halt(wentBack("its history up to position %d is not the one that was served before", m.head.Position))
	}
	return nil
}

// halt makes the store serve nothing.
func (g *Store) halt(why error) error {
	if g.why.CompareAndSwap(nil, &why) {
		g.set.Log.Error("nothing is served", "reason", "STORE_WENT_BACK", "error", why.Error())
	}
	return why
}

// Err returns why nothing is served, or what is wrong with what is; nil when all is well.
func (g *Store) Err() error {
	if why := g.why.Load(); why != nil {
		return *why
	}
	if wrong := g.wrong.Load(); wrong != nil {
		return *wrong
	}
	if p, ok := g.Store.(interface{ Present() error }); ok {
		return p.Present()
	}
	return nil
}

// well is a store as health sees it.
type well struct{ *Store }

// Well returns the store as health sees it: its Head fails also where a scrub found
// damage or the file was taken away, though most reads go on.
func (g *Store) Well() store.Store { return well{g} }

// Head implements store.Store.
func (w well) Head(ctx context.Context) (store.Head, error) {
	if err := w.Err(); err != nil {
		return store.Head{}, err
	}
	return w.Store.Head(ctx)
}

// watch looks at the head from time to time, and keeps the mark.
func (g *Store) watch(ctx context.Context) {
	tick := time.NewTicker(g.set.Every)
	defer tick.Stop()
	var said string
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		g.look(ctx)
		if err := g.Err(); err != nil && err.Error() != said {
			said = err.Error()
			g.set.Log.Error("store is not well", "error", said)
		} else if err == nil {
			said = ""
		}
		if err := g.keep(); err != nil {
			g.set.Log.Error("the mark of the newest position cannot be kept", "error", err.Error())
		}
	}
}

// look compares the store with the mark, and serves again where it fits again.
func (g *Store) look(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	was := g.mark.Load()
	head, err := g.Store.Head(ctx)
	if err != nil {
		return // it cannot be read, which its readers are told
	}
	if e, err := ReadEpoch(ctx, g.Store); err == nil && e.Number != g.epoch.Number {
		g.halt(wentBack("it was restored and is of epoch %d now, this server began with epoch %d; start it again", e.Number, g.epoch.Number))
		return
	}
	halted := g.why.Load() != nil
	if head.Position < was.head.Position {
		g.observe(ctx, was, head)
		return
	}
	if g.extends(ctx, was) != nil {
		return
	}
	if halted {
		g.why.Store(nil)
		g.set.Log.Info("the history goes on from where it was; it is served again", "position", head.Position)
	}
	g.observe(ctx, was, head)
}

// scrub checks everything, soon and then from time to time.
func (g *Store) scrub(ctx context.Context) {
	for wait := 10 * time.Second; ; wait = g.set.Scrub {
		select {
		case <-ctx.Done():
			return
		case <-time.After(min(wait, g.set.Scrub)):
		}
		if ctx.Err() == nil {
			g.Scrub(ctx)
		}
	}
}

// Scrub checks everything now. What it finds is in Err until a scrub finds nothing.
func (g *Store) Scrub(ctx context.Context) error {
	begin := time.Now()
	err := g.Store.Check(ctx)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, store.ErrCorrupt):
		g.wrong.Store(&err)
		g.set.Log.Error("scrub found damage", "error", err.Error())
	case err != nil:
		g.set.Log.Error("scrub did not come to its end", "error", err.Error())
	default:
		g.wrong.Store(nil)
		g.set.Log.Debug("scrub found nothing wrong", "took", time.Since(begin).Round(time.Millisecond).String())
	}
	return err
}

// Epoch is how often the store was restored, and where to.
func (g *Store) Epoch() store.Epoch { return g.epoch }

// Close implements store.Store.
func (g *Store) Close() error {
	g.closing.Do(func() {
		g.stop()
		g.stopped.Wait()
		g.closed = errors.Join(g.keep(), g.Store.Close())
	})
	return g.closed
}

// call runs a method unless nothing is served.
func call[T any](g *Store, work func() (T, error)) (v T, err error) {
	if why := g.why.Load(); why != nil {
		return v, *why
	}
	v, err = work()
	if err != nil && errors.Is(err, store.ErrWentBack) {
		err = g.halt(err)
	}
	return v, err
}

// Head implements store.Store.
func (g *Store) Head(ctx context.Context) (store.Head, error) {
	return call(g, func() (store.Head, error) {
		was := g.mark.Load()
		head, err := g.Store.Head(ctx)
		if err == nil {
			err = g.observe(ctx, was, head)
		}
		return head, err
	})
}

// Await implements store.Store.
func (g *Store) Await(ctx context.Context, position int64) (store.Head, error) {
	return call(g, func() (store.Head, error) {
		for {
			// A wait that began before the history went back would not end by itself.
			part, cancel := context.WithTimeout(ctx, g.set.Every)
			was := g.mark.Load()
			head, err := g.Store.Await(part, position)
			cancel()
			if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
				if why := g.why.Load(); why != nil {
					return store.Head{}, *why
				}
				continue
			}
			if err == nil {
				err = g.observe(ctx, was, head)
			}
			return head, err
		}
	})
}

// Publish implements store.Store. A time in the future is ErrInvalid.
func (g *Store) Publish(ctx context.Context, p store.Publication) (int64, error) {
	return call(g, func() (int64, error) {
		if err := g.clock.check(g.set.Now(), p.Time); err != nil {
			return 0, err
		}
		return g.Store.Publish(ctx, p)
	})
}

// Resolve implements store.Store.
func (g *Store) Resolve(ctx context.Context, at store.At) (int64, error) {
	return call(g, func() (int64, error) { return g.Store.Resolve(ctx, at) })
}

// Get implements store.Store.
func (g *Store) Get(ctx context.Context, name specdata.Name, position int64) (*store.Revision, error) {
	return call(g, func() (*store.Revision, error) { return g.Store.Get(ctx, name, position) })
}

// GetRevision implements store.Store.
func (g *Store) GetRevision(ctx context.Context, name specdata.Name, number int64) (*store.Revision, error) {
	return call(g, func() (*store.Revision, error) { return g.Store.GetRevision(ctx, name, number) })
}

// Revisions implements store.Store.
func (g *Store) Revisions(ctx context.Context, name specdata.Name, position, before int64, limit int) ([]*store.Revision, error) {
	return call(g, func() ([]*store.Revision, error) { return g.Store.Revisions(ctx, name, position, before, limit) })
}

// List implements store.Store.
func (g *Store) List(ctx context.Context, q store.Query, position int64) ([]*store.Revision, error) {
	return call(g, func() ([]*store.Revision, error) { return g.Store.List(ctx, q, position) })
}

// Uses implements store.Store.
func (g *Store) Uses(ctx context.Context, name specdata.Name, position int64) ([]specdata.Name, error) {
	return call(g, func() ([]specdata.Name, error) { return g.Store.Uses(ctx, name, position) })
}

// Search implements store.Store.
func (g *Store) Search(ctx context.Context, words string, kind specdata.Kind, limit int) ([]store.Hit, error) {
	return call(g, func() ([]store.Hit, error) { return g.Store.Search(ctx, words, kind, limit) })
}

// Log implements store.Store.
func (g *Store) Log(ctx context.Context, after, upTo int64, limit int) ([]*store.Revision, error) {
	return call(g, func() ([]*store.Revision, error) { return g.Store.Log(ctx, after, upTo, limit) })
}

// HeadAt implements store.Store.
func (g *Store) HeadAt(ctx context.Context, position int64) (store.Head, error) {
	return call(g, func() (store.Head, error) { return g.Store.HeadAt(ctx, position) })
}

// Leaf implements store.Store.
func (g *Store) Leaf(ctx context.Context, index int64) (*store.Revision, error) {
	return call(g, func() (*store.Revision, error) { return g.Store.Leaf(ctx, index) })
}

// Hashes implements store.Store.
func (g *Store) Hashes(ctx context.Context, indexes []int64) ([][32]byte, error) {
	return call(g, func() ([][32]byte, error) { return g.Store.Hashes(ctx, indexes) })
}

// WriteNotes implements store.Store.
func (g *Store) WriteNotes(ctx context.Context, writes []store.NoteWrite) error {
	_, err := call(g, func() (struct{}, error) { return struct{}{}, g.Store.WriteNotes(ctx, writes) })
	return err
}

// GetNote implements store.Store.
func (g *Store) GetNote(ctx context.Context, space, key string) (*store.Note, error) {
	return call(g, func() (*store.Note, error) { return g.Store.GetNote(ctx, space, key) })
}

// ListNotes implements store.Store.
func (g *Store) ListNotes(ctx context.Context, q store.NoteQuery) ([]*store.Note, error) {
	return call(g, func() ([]*store.Note, error) { return g.Store.ListNotes(ctx, q) })
}

// NoteSpaces implements store.Store.
func (g *Store) NoteSpaces(ctx context.Context) ([]string, error) {
	return call(g, func() ([]string, error) { return g.Store.NoteSpaces(ctx) })
}

// SetRelease implements store.Store.
func (g *Store) SetRelease(ctx context.Context, r store.Release) error {
	_, err := call(g, func() (struct{}, error) { return struct{}{}, g.Store.SetRelease(ctx, r) })
	return err
}

// Releases implements store.Store.
func (g *Store) Releases(ctx context.Context) ([]store.Release, error) {
	return call(g, func() ([]store.Release, error) { return g.Store.Releases(ctx) })
}
