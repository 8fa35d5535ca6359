// Package sqlite keeps a store in one SQLite file: the embedded default.
//
// The log (revision, release) is only ever appended to. Everything a query needs
// besides (span, term, search) is derived from it and can be made again by Rebuild.
// Notes stand beside it.
//
// One goroutine writes. Publications that wait while it commits are folded into
// the next transaction, each with its own position, so that they share one sync.
// Readers have connections of their own and never wait for the writer.
//
// Pages carry checksums, so a damaged file is refused rather than served; such a
// file must not be written by another SQLite program, which would not keep them.
package sqlite

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"

	"proofload/server/store"
)

// Options tune a store. The zero Options are right for most.
type Options struct {
	// Readers is the most reads at the same time; 0 means 8.
	Readers int
	// Cache is the most page cache of all connections together, in bytes; 0 means
	// MaxCache, which is also the most allowed: the engine runs out of its own
	// memory not far above.
	Cache int64
	// Existing refuses to make a store where the file is not there or is empty.
	Existing bool
	// Unchecked opens a file that has no index of its pages without checking the whole
	// of it first: for an audit, which looks at all of it and says more.
	Unchecked bool
}

// MaxCache is the most page cache that all connections together may use, in bytes.
const MaxCache = 128 << 20

// settings are what tests may set besides.
type settings struct {
	Options
	// vfs names a registered file system; "" is the operating system's.
	vfs string
	// index opens the index of the pages.
	index func(path string, create bool) (indexFile, error)
	// synchronous is FULL, but for the test that shows that less would be caught.
	synchronous string
	// tail is the length at which the tail is moved into the file, checkpoint the
	// number of pages at which the write-ahead log is.
	tail, checkpoint int
}

// usual are the settings of Open.
func usual(o Options) settings {
	return settings{Options: o, index: openIndex, synchronous: "FULL", tail: tailLength, checkpoint: checkpointPages}
}

// Store is a store in one file. Use Open.
type Store struct {
	// path is as it was named, real without links.
	path, real string
	set        settings
	lock       *conn
	// inode holds the lock of the file itself; file and log are it and its write-ahead
	// log as they were when it was opened.
	inode     *os.File
	file, log os.FileInfo
	pages     *pages
	unmount   func()
	write     *writer
	head      atomic.Pointer[store.Head]
	// moved is closed when the head moves, and then is another.
	moved atomic.Pointer[chan struct{}]
	tail  tail
	// broken says why the store takes no writes any more, nil while it does.
	broken atomic.Pointer[string]

	readers *pool
	quit    chan struct{}
	done    chan struct{}
	closing sync.Once
	closed  error
}

var _ store.Store = (*Store)(nil)

// Open opens the store in a file and makes the file if there is none; the folder
// must be there. The context bounds the opening only.
//
// A store belongs to one process at a time. Open fails with an error that names the
// file where another process has it, where the file is not a store, with ErrNewer
// where a newer version wrote it and with ErrCorrupt where it is damaged. It brings
// a store of an older version up to date, which an interruption does not harm.
func Open(ctx context.Context, path string, o Options) (*Store, error) {
	return open(ctx, path, usual(o))
}

func open(ctx context.Context, path string, set settings) (_ *Store, err error) {
	if set.Readers == 0 {
		set.Readers = 8
	}
	if set.Cache == 0 {
		set.Cache = MaxCache
	}
	if set.Cache < 0 || set.Cache > MaxCache || set.Readers < 0 {
		return nil, fmt.Errorf("store %s: %w: cache of %d bytes with %d readers; allowed: up to %d bytes, 0 for the default", path, store.ErrInvalid, set.Cache, set.Readers, MaxCache)
	}
	s := &Store{path: path, set: set, quit: make(chan struct{}), done: make(chan struct{})}
	if s.real, err = realPath(path); err != nil {
		return nil, s.explain(err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.letGo())
		}
	}()
	if s.pages, err = loadPages(s.real, set.index, false); err != nil {
		return nil, s.explain(err)
	}
	if info, err := os.Stat(s.real); set.Existing && (err != nil || info.Size() == 0) {
		return nil, fmt.Errorf("store %s: the file is not there, or is empty; name the right one, or say that a new store is to be made", path)
	}
	if err = makeFile(s.real); err != nil {
		return nil, s.explain(err)
	}
	if s.inode, err = lockInode(s.real); err != nil {
		return nil, s.explain(err)
	}
	if s.file, err = s.inode.Stat(); err != nil {
		return nil, s.explain(err)
	}
	if s.lock, err = lockFile(ctx, s.real); err != nil {
		return nil, s.explain(err)
	}
	mounted := ""
	mounted, s.unmount = mount(set.vfs, s.pages)
	uri := fileURI(s.real, "", mounted)
	if s.write, err = openWriter(ctx, s, uri); err != nil {
		return nil, s.explain(err)
	}
	if err = narrow(s.real); err == nil {
		s.log, err = os.Stat(s.real + "-wal")
	}
	if err != nil {
		return nil, errors.Join(s.explain(err), s.write.close())
	}
	s.readers = newPool(set.Readers, func(ctx context.Context) (*conn, error) {
		return openReader(ctx, uri, set.Cache/2/int64(set.Readers))
	})
	go s.write.run()
	if s.pages.complete || set.Unchecked {
		return s, nil
	}
	// Nothing says what its pages should be. So all is looked at before any of it is served.
	if err = s.Check(ctx); err == nil {
		err = s.explain(s.pages.adopt())
	}
	if err != nil {
		close(s.quit)
		<-s.done
		return nil, errors.Join(err, s.readers.close(), s.write.close())
	}
	return s, nil
}

// letGo returns back what a store holds besides its connections.
func (s *Store) letGo() error {
	var errs []error
	if s.lock != nil {
		errs = append(errs, s.lock.close())
	}
	if s.unmount != nil {
		s.unmount()
	}
	if s.pages != nil {
		errs = append(errs, s.pages.close())
	}
	if s.inode != nil {
		errs = append(errs, s.inode.Close())
	}
	return errors.Join(errs...)
}

// Head implements store.Store.
func (s *Store) Head(ctx context.Context) (store.Head, error) {
	if err := s.usable(ctx); err != nil {
		return store.Head{}, err
	}
	return *s.head.Load(), nil
}

// Close implements store.Store.
func (s *Store) Close() error {
	s.closing.Do(func() {
		close(s.quit)
		<-s.done
		s.closed = errors.Join(s.readers.close(), s.write.close(), s.letGo())
		if s.closed != nil {
			s.closed = s.explain(s.closed)
		}
	})
	return s.closed
}

func (s *Store) usable(ctx context.Context) error {
	select {
	case <-s.quit:
		return fmt.Errorf("store %s: %w", s.path, store.ErrClosed)
	default:
		return ctx.Err()
	}
}

// poison makes the store take no more writes.
func (s *Store) poison(why error) {
	text := why.Error()
	s.broken.CompareAndSwap(nil, &text)
}

// healthy returns nil, or the ErrReadOnly that says why the store takes no writes.
func (s *Store) healthy() error {
	if why := s.broken.Load(); why != nil {
		return fmt.Errorf("store %s: %w until it is opened again, because of an earlier failure: %s", s.path, store.ErrReadOnly, *why)
	}
	return nil
}
