package storetest

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// reference is the contract in the plainest words: a list of revisions that every
// question searches from one end to the other. It is for one goroutine.
type reference struct {
	log      []*store.Revision
	times    []time.Time // by position - 1
	released []store.Release
	keys     map[string]keyed
	notes    map[noteName]*store.Note
}

func newReference() *reference {
	return &reference{keys: map[string]keyed{}, notes: map[noteName]*store.Note{}}
}

type keyed struct {
	at      int64
	changes []store.Change
}

func (m *reference) head() int64 { return int64(len(m.times)) }

func (m *reference) reach(positions ...int64) error {
	for _, p := range positions {
		if p < 0 {
			return store.ErrInvalid
		}
		if p > m.head() {
			return store.ErrFuture
		}
	}
	return nil
}

// current returns the record's revision at a position, nil if there is none.
func (m *reference) current(name specdata.Name, at int64) (found *store.Revision) {
	for _, r := range m.log {
		if r.Name == name && r.Position <= at {
			found = r
		}
	}
	return found
}

func (m *reference) Publish(ctx context.Context, p store.Publication) (int64, error) {
	if err := p.Validate(); err != nil {
		return 0, err
	}
	for _, c := range p.Changes {
		if c.Document != nil {
			if _, err := index.Of(c.Name, c.Document); err != nil {
				return 0, err
			}
		}
	}
	if used, ok := m.keys[p.Key]; ok && p.Key != "" {
		same := slices.EqualFunc(used.changes, p.Changes, func(a, b store.Change) bool {
			return a.Name == b.Name && a.Base == b.Base && string(a.Document) == string(b.Document) && (a.Document == nil) == (b.Document == nil)
		})
		if !same {
			return 0, store.ErrConflict
		}
		return used.at, nil
	}
	at := m.head() + 1
	made := p.Time.UTC()
	if at > 1 && made.Before(m.times[at-2]) {
		made = m.times[at-2]
	}
	var fresh []*store.Revision
	for _, c := range p.Changes {
		r := &store.Revision{Name: c.Name, Number: 1, Position: at, Leaf: int64(len(m.log) + len(fresh)), Key: p.Key, Document: c.Document, Withdrawn: c.Document == nil, Authors: p.Authors, Reviewer: p.Reviewer, Reason: p.Reason, Time: made}
		if old := m.current(c.Name, at); old != nil {
			r.Number = old.Number + 1
			if r.Withdrawn {
				if r.Document = old.Document; old.Withdrawn && c.Base == old.Number {
					return 0, store.ErrNotFound
				}
			}
		}
		if c.Base != r.Number-1 {
			return 0, &store.Conflict{Name: c.Name, Base: c.Base, Current: r.Number - 1}
		}
		if r.Document == nil {
			return 0, store.ErrNotFound
		}
		r.Hash = hashOf(r.Document)
		fresh = append(fresh, r)
	}
	if p.Notes != nil {
		writes, err := p.Notes(at, made)
		if err == nil {
			err = m.WriteNotes(ctx, writes)
		}
		if err != nil {
			return 0, err
		}
	}
	m.log = append(m.log, fresh...)
	m.times = append(m.times, made)
	if p.Key != "" {
		m.keys[p.Key] = keyed{at, p.Changes}
	}
	return at, nil
}

func (m *reference) Head(context.Context) (store.Head, error) {
	h := store.Head{Position: m.head(), Revisions: int64(len(m.log))}
	if h.Position > 0 {
		h.Time = m.times[h.Position-1]
	}
	return h, nil
}

func (m *reference) Resolve(_ context.Context, at store.At) (int64, error) {
	if err := at.Validate(); err != nil {
		return 0, err
	}
	if name, ok := at.Release(); ok {
		for _, r := range m.released {
			if r.Name == name {
				return r.Position, nil
			}
		}
		return 0, store.ErrNotFound
	}
	if t, ok := at.Time(); ok {
		n, _ := slices.BinarySearchFunc(m.times, t.Add(1), time.Time.Compare)
		if n == 0 {
			return 0, store.ErrNotFound
		}
		return int64(n), nil
	}
	if n, ok := at.Position(); ok {
		return n, m.reach(n)
	}
	return m.head(), nil
}

func (m *reference) Get(_ context.Context, name specdata.Name, at int64) (*store.Revision, error) {
	if err := m.reach(at); err != nil {
		return nil, err
	}
	if r := m.current(name, at); r != nil {
		return r, nil
	}
	return nil, store.ErrNotFound
}

func (m *reference) GetRevision(_ context.Context, name specdata.Name, number int64) (*store.Revision, error) {
	for _, r := range m.log {
		if r.Name == name && r.Number == number {
			return r, nil
		}
	}
	return nil, store.ErrNotFound
}

func (m *reference) Revisions(_ context.Context, name specdata.Name, at, before int64, limit int) ([]*store.Revision, error) {
	if err := m.reach(at); err != nil {
		return nil, err
	}
	if err := store.ValidLimit(limit); err != nil {
		return nil, err
	}
	if m.current(name, at) == nil {
		return nil, store.ErrNotFound
	}
	rs := []*store.Revision{}
	for _, r := range slices.Backward(m.log) {
		if r.Name == name && r.Position <= at && (before <= 0 || r.Number < before) && len(rs) < limit {
			rs = append(rs, r)
		}
	}
	return rs, nil
}

// inForce returns the records at a position in order of name.
func (m *reference) inForce(at int64) []*store.Revision {
	newest := map[specdata.Name]*store.Revision{}
	for _, r := range m.log {
		if r.Position <= at {
			newest[r.Name] = r
		}
	}
	rs := []*store.Revision{}
	for _, r := range newest {
		rs = append(rs, r)
	}
	slices.SortFunc(rs, func(a, b *store.Revision) int { return cmp.Compare(a.Name, b.Name) })
	return rs
}

func factsOf(r *store.Revision) *index.Facts {
	f, err := index.Of(r.Name, r.Document)
	if err != nil {
		return &index.Facts{} // Publish has read it before
	}
	return f
}

func (m *reference) List(_ context.Context, q store.Query, at int64) ([]*store.Revision, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	if err := m.reach(at); err != nil {
		return nil, err
	}
	rs := []*store.Revision{}
	all := m.inForce(at)
	if q.Before != "" {
		slices.Reverse(all)
	}
	for _, r := range all {
		f := factsOf(r)
		id := r.Name.ID()
		if len(rs) < q.Limit && r.Name.Kind() == q.Kind && (q.Withdrawn || !r.Withdrawn) && id > q.After && (q.Before == "" || id < q.Before) &&
			f.Has(index.Filters(q)) {
			rs = append(rs, r)
		}
	}
	return rs, nil
}

func (m *reference) Uses(_ context.Context, name specdata.Name, at int64) ([]specdata.Name, error) {
	if err := m.reach(at); err != nil {
		return nil, err
	}
	ns := []specdata.Name{}
	for _, r := range m.inForce(at) {
		if !r.Withdrawn && factsOf(r).HasAny(index.Referring(name)) {
			ns = append(ns, r.Name)
		}
	}
	return ns, nil
}

func (m *reference) Search(_ context.Context, text string, kind specdata.Kind, limit int) ([]store.Hit, error) {
	if err := store.ValidSearch(kind, limit); err != nil {
		return nil, err
	}
	hits := []store.Hit{}
	words := index.Words(text)
	if len(words) > index.MaxWords {
		return nil, fmt.Errorf("%d words: %w", len(words), store.ErrInvalid)
	}
	rs := m.inForce(m.head())
	slices.SortFunc(rs, func(a, b *store.Revision) int {
		return cmp.Or(cmp.Compare(len(factsOf(a).Words), len(factsOf(b).Words)), cmp.Compare(slices.Index(m.log, a), slices.Index(m.log, b)))
	})
	for _, r := range rs {
		f := factsOf(r)
		if len(hits) < limit && len(words) > 0 && !r.Withdrawn && (kind == "" || r.Name.Kind() == kind) && f.Matches(words) {
			hits = append(hits, store.Hit{Name: r.Name, Title: f.Title, Place: f.Detail})
		}
	}
	return hits, nil
}

func (m *reference) Log(_ context.Context, after, upTo int64, limit int) ([]*store.Revision, error) {
	if err := m.reach(after, upTo); err != nil {
		return nil, err
	}
	if err := store.ValidLimit(limit); err != nil {
		return nil, err
	}
	rs := []*store.Revision{}
	for at := after + 1; at <= upTo; at++ {
		var whole []*store.Revision
		for _, r := range m.log {
			if r.Position == at {
				whole = append(whole, r)
			}
		}
		if len(rs) > 0 && len(rs)+len(whole) > limit {
			break
		}
		rs = append(rs, whole...)
	}
	return rs, nil
}

func (m *reference) SetRelease(_ context.Context, r store.Release) error {
	if err := r.Validate(); err != nil {
		return err
	}
	if err := m.reach(r.Position); err != nil {
		return err
	}
	for _, old := range m.released {
		if old.Name == r.Name {
			if old.Position != r.Position {
				return store.ErrConflict
			}
			return nil
		}
	}
	m.released = append(m.released, r)
	slices.SortFunc(m.released, func(a, b store.Release) int {
		return cmp.Or(cmp.Compare(a.Position, b.Position), cmp.Compare(a.Name, b.Name))
	})
	return nil
}

func (m *reference) Releases(context.Context) ([]store.Release, error) {
	return append([]store.Release{}, m.released...), nil
}
