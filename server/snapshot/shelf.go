// Package snapshot gives the records of a store at one position: as a library for
// rules and views, and through caches that publications keep honest.
package snapshot

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"

	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
	"proofload/specdata/library"
)

// Record is a published state of a record, read.
type Record struct {
	Revision *store.Revision
	Entry    *library.Entry
}

// Shelf follows a store. It knows which records changed while it watched, so that
// what was made from others is served from memory exactly as long as it is true.
// All methods may be called from many goroutines.
type Shelf struct {
	Store store.Store

	records *Cache[*Record]

	// position is how far changed is up to date.
	position atomic.Int64
	// follow serialises catching up.
	follow    sync.Mutex
	revisions int64

	mu sync.RWMutex
	// changed gives the position of each record's last change after floor.
	changed map[specdata.Name]int64
	// floor: what was true before it may have changed unseen.
	floor int64
}

// Bounds of what a shelf keeps. A jump of more than maxJump revisions, as a bulk
// import makes, empties the caches instead of being read through.
const (
	maxJump     = 5_000
	maxChanged  = 50_000
	recordBytes = 64 << 20
)

// NewShelf follows a store from its present head.
func NewShelf(ctx context.Context, s store.Store) (*Shelf, error) {
	shelf := &Shelf{Store: s, changed: map[specdata.Name]int64{}}
	shelf.records = NewCache(shelf, recordBytes, func(r *Record) int {
		if r == nil {
			return 64
		}
		return 6 * len(r.Revision.Document) // the decoded form takes about five times the text
	})
	head, err := s.Head(ctx)
	if err != nil {
		return nil, err
	}
	shelf.position.Store(head.Position)
	shelf.floor, shelf.revisions = head.Position, head.Revisions
	return shelf, nil
}

// Head returns the newest position; the caches are true for it on return.
func (s *Shelf) Head(ctx context.Context) (int64, error) {
	head, err := s.Store.Head(ctx)
	if err != nil {
		return 0, err
	}
	if at := s.position.Load(); head.Position > at {
		return s.catchUp(ctx, head)
	}
	return head.Position, nil
}

// catchUp notes what changed up to a head.
func (s *Shelf) catchUp(ctx context.Context, head store.Head) (int64, error) {
	s.follow.Lock()
	defer s.follow.Unlock()
	at := s.position.Load()
	if at >= head.Position {
		return head.Position, nil
	}
	if head.Revisions-s.revisions > maxJump {
		s.forget(head.Position)
	} else {
		for at < head.Position {
			revs, err := s.Store.Log(ctx, at, head.Position, store.MaxLimit)
			if err != nil {
				return 0, err
			}
			if len(revs) == 0 {
				break
			}
			s.note(revs)
			at = revs[len(revs)-1].Position
		}
	}
	s.revisions = head.Revisions
	s.position.Store(head.Position)
	return head.Position, nil
}

func (s *Shelf) note(revs []*store.Revision) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, r := range revs {
		s.changed[r.Name] = r.Position
	}
	if len(s.changed) > maxChanged {
		s.floor = revs[len(revs)-1].Position
		clear(s.changed)
	}
}

func (s *Shelf) forget(position int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.floor = position
	clear(s.changed)
}

// changedAfter reports whether any of the records changed, or may have, after a
// position and up to where the shelf has followed.
func (s *Shelf) changedAfter(names []specdata.Name, position int64) bool {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if position < s.floor {
		return true
	}
	for _, n := range names {
		if s.changed[n] > position {
			return true
		}
	}
	return false
}

// At returns the library of a position, which must be published. It lives as long
// as the context.
func (s *Shelf) At(ctx context.Context, position int64) *Snapshot {
	return &Snapshot{ctx: ctx, shelf: s, position: position}
}

// fetch reads a record from the store, nil if it never was.
func (s *Shelf) fetch(ctx context.Context, name specdata.Name, position int64) (*Record, error) {
	rev, err := s.Store.Get(ctx, name, position)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, nil
	case err != nil:
		return nil, err
	}
	return read(rev)
}

func read(rev *store.Revision) (*Record, error) {
	rec, err := index.Decode(rev.Name, rev.Document)
	if err != nil {
		return nil, err
	}
	return &Record{rev, &library.Entry{Record: rec, Hash: rev.Hash, Canonical: rev.Document}}, nil
}
