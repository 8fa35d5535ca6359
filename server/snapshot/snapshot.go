package snapshot

import (
	"context"
	"iter"
	"slices"
	"sync"

	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/library"
)

// Snapshot is the store at one position. It implements library.Library: withdrawn
// records are not in it.
type Snapshot struct {
	ctx      context.Context
	follower *Follower
	position int64

	mu  sync.Mutex
	err error
	// listed holds what listings read, so that a record is the same entry however it is come by.
	listed map[specdata.Name]*Record
}

var (
	_ library.Library    = (*Snapshot)(nil)
	_ library.ByLikeness = (*Snapshot)(nil)
)

// Position is the position of the snapshot.
func (s *Snapshot) Position() int64 { return s.position }

// Record returns the record's state in force, which may be a withdrawal; nil if it
// never was.
func (s *Snapshot) Record(name specdata.Name) (*Record, error) {
	if r, ok := s.held(name); ok {
		return r, nil
	}
	r, err := s.follower.fetch(s.ctx, name, s.position)
	if err != nil {
		return nil, err
	}
	s.keep(name, r)
	return r, nil
}

func (s *Snapshot) held(name specdata.Name) (*Record, bool) {
	s.mu.Lock()
	r, ok := s.listed[name]
	s.mu.Unlock()
	if ok {
		return r, true
	}
	return s.follower.records.Get(name, s.position)
}

// keep caches what is current; the past is read rarely and would crowd it out.
func (s *Snapshot) keep(name specdata.Name, r *Record) {
	if s.position == s.follower.position.Load() {
		s.follower.records.Put(name, r, []specdata.Name{name}, s.position)
	}
}

// Get implements library.Library.
func (s *Snapshot) Get(name specdata.Name) *library.Entry {
	r, err := s.Record(name)
	if err != nil {
		s.fail(err)
		return nil
	}
	if r == nil || r.Revision.Withdrawn {
		return nil
	}
	return r.Entry
}

// All implements library.Library.
func (s *Snapshot) All(kind specdata.Kind) iter.Seq[*library.Entry] {
	return s.list(store.Query{Kind: kind})
}

// ForVehicle implements library.Library.
func (s *Snapshot) ForVehicle(kind specdata.Kind, vehicle string) iter.Seq[*library.Entry] {
	return s.list(store.Query{Kind: kind, Vehicle: vehicle})
}

func (s *Snapshot) list(q store.Query) iter.Seq[*library.Entry] {
	return func(yield func(*library.Entry) bool) {
		q.Limit = store.MaxLimit
		for after := ""; ; {
			q.After = after
			rs, err := s.List(q)
			if err != nil {
				s.fail(err)
				return
			}
			for _, r := range rs {
				if !yield(r.Entry) {
					return
				}
			}
			if len(rs) < q.Limit {
				return
			}
			after = rs[len(rs)-1].Revision.Name.ID()
		}
	}
}

// Alike implements library.ByLikeness through the store's index.
func (s *Snapshot) Alike(like library.Likeness, id string, n int) []*library.Entry {
	q := store.Query{Kind: specdata.KindFastener, Thread: like.Thread, Joint: string(like.Joint), Limit: n}
	below, above := q, q
	below.Before, above.After = id, id
	var out []*library.Entry
	for _, q := range []store.Query{below, above} {
		rs, err := s.List(q)
		if err != nil {
			s.fail(err)
			return nil
		}
		if q.Before != "" {
			slices.Reverse(rs)
		}
		for _, r := range rs {
			out = append(out, r.Entry)
		}
	}
	return out
}

// List returns the records in force that match a query, in order of id.
func (s *Snapshot) List(q store.Query) ([]*Record, error) {
	revs, err := s.follower.Store.List(s.ctx, q, s.position)
	if err != nil {
		return nil, err
	}
	out := make([]*Record, len(revs))
	for i, rev := range revs {
		if r, ok := s.held(rev.Name); ok && r != nil {
			out[i] = r
			continue
		}
		if out[i], err = read(rev); err != nil {
			return nil, err
		}
		s.mu.Lock()
		if s.listed == nil {
			s.listed = map[specdata.Name]*Record{}
		}
		s.listed[rev.Name] = out[i]
		s.mu.Unlock()
	}
	return out, nil
}

// Uses implements library.Library.
func (s *Snapshot) Uses(name specdata.Name) []specdata.Name {
	names, err := s.follower.Store.Uses(s.ctx, name, s.position)
	if err != nil {
		s.fail(err)
	}
	return names
}

// Err implements library.Library.
func (s *Snapshot) Err() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

func (s *Snapshot) fail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.err == nil {
		s.err = err
	}
}
