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

// Follower follows a store. It knows which records changed while it watched, so that
// what was made from others is served from memory exactly as long as it is true.
// All methods may be called from many goroutines.
type Follower struct {
	Store store.Store

	records *Cache[*Record]

	// position is how far changed is up to date.
	position atomic.Int64
	// follow serialises catching up.
	follow    sync.Mutex
	revisions int64

	mu sync.RWMutex
	// changed holds the position of each record's last change after floor.
	changed map[specdata.Name]int64
	// floor: what was true before it may have changed unseen.
	floor int64
}

// Bounds of what a follower keeps. A jump of more than maxJump revisions, as a bulk
// import makes, empties the caches instead of being read through.
const (
	maxJump     = 5_000
	maxChanged  = 50_000
	recordBytes = 64 << 20
)

// NewFollower follows a store from its present head.
func NewFollower(ctx context.Context, s store.Store) (*Follower, error) {
	follower := &Follower{Store: s, changed: map[specdata.Name]int64{}}
	follower.records = NewCache(follower, recordBytes, func(r *Record) int {
		if r == nil {
			return 64
		}
		return 6 * len(r.Revision.Document) // the decoded form takes about five times the text
	})
	head, err := s.Head(ctx)
	if err != nil {
		return nil, err
	}
	follower.position.Store(head.Position)
	follower.floor, follower.revisions = head.Position, head.Revisions
	return follower, nil
}

// Head returns the newest position; the caches are true for it on return.
func (f *Follower) Head(ctx context.Context) (int64, error) {
	head, err := f.Store.Head(ctx)
	if err != nil {
		return 0, err
	}
	if at := f.position.Load(); head.Position > at {
		return f.catchUp(ctx, head)
	}
	return head.Position, nil
}

// catchUp notes what changed up to a head.
func (f *Follower) catchUp(ctx context.Context, head store.Head) (int64, error) {
	f.follow.Lock()
	defer f.follow.Unlock()
	at := f.position.Load()
	if at >= head.Position {
		return head.Position, nil
	}
	if head.Revisions-f.revisions > maxJump {
		f.forget(head.Position)
	} else {
		for at < head.Position {
			revs, err := f.Store.Log(ctx, at, head.Position, store.MaxLimit)
			if err != nil {
				return 0, err
			}
			if len(revs) == 0 {
				break
			}
			f.note(revs)
			at = revs[len(revs)-1].Position
		}
	}
	f.revisions = head.Revisions
	f.position.Store(head.Position)
	return head.Position, nil
}

func (f *Follower) note(revs []*store.Revision) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, r := range revs {
		f.changed[r.Name] = r.Position
	}
	if len(f.changed) > maxChanged {
		f.floor = revs[len(revs)-1].Position
		clear(f.changed)
	}
}

func (f *Follower) forget(position int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.floor = position
	clear(f.changed)
}

// changedAfter reports whether any of the records changed, or may have, after a
// position and up to where the follower has followed.
func (f *Follower) changedAfter(names []specdata.Name, position int64) bool {
	f.mu.RLock()
	defer f.mu.RUnlock()
	if position < f.floor {
		return true
	}
	for _, n := range names {
		if f.changed[n] > position {
			return true
		}
	}
	return false
}

// At returns the library of a position, which must be published. It lives as long
// as the context.
func (f *Follower) At(ctx context.Context, position int64) *Snapshot {
	return &Snapshot{ctx: ctx, follower: f, position: position}
}

// fetch reads a record from the store, nil if it never was.
func (f *Follower) fetch(ctx context.Context, name specdata.Name, position int64) (*Record, error) {
	rev, err := f.Store.Get(ctx, name, position)
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
