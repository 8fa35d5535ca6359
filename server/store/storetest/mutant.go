package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"proofload/server/store"
	"proofload/specdata"
)

// Mutants are stores with a planted fault, by the name of the fault. Whatever claims
// to find such faults is held to them.
var Mutants = map[string]func(store.Store) store.Store{
	"lost-update": func(s store.Store) store.Store { return lostUpdate{s} },
	"stale-read": func(s store.Store) store.Store {
		return &staleRead{Store: s, kept: map[specdata.Name]*store.Revision{}}
	},
	"stale-note":      func(s store.Store) store.Store { return &staleNote{Store: s, kept: map[string]*store.Note{}} },
	"early-answer":    func(s store.Store) store.Store { return &earlyAnswer{Store: s} },
	"split":           func(s store.Store) store.Store { return split{s} },
	"lost-note-write": func(s store.Store) store.Store { return lostNoteWrite{s} },
}

// lostUpdate publishes over what it was not made against.
type lostUpdate struct{ store.Store }

func (m lostUpdate) Publish(ctx context.Context, p store.Publication) (int64, error) {
	for {
		at, err := m.Store.Publish(ctx, p)
		var c *store.Conflict
		if !errors.As(err, &c) {
			return at, err
		}
		p.Changes = append([]store.Change(nil), p.Changes...)
		for i := range p.Changes {
			if p.Changes[i].Name == c.Name {
				p.Changes[i].Base = c.Current
			}
		}
	}
}

// lostNoteWrite writes a note over what it was not made against.
type lostNoteWrite struct{ store.Store }

func (m lostNoteWrite) WriteNotes(ctx context.Context, ws []store.NoteWrite) error {
	ws = append([]store.NoteWrite(nil), ws...)
	for i := range ws {
		ws[i].Base = store.AnyVersion
	}
	return m.Store.WriteNotes(ctx, ws)
}

// staleRead answers every second reading of a record from memory.
type staleRead struct {
	store.Store
	mu   sync.Mutex
	n    int
	kept map[specdata.Name]*store.Revision
}

func (m *staleRead) Get(ctx context.Context, name specdata.Name, at int64) (*store.Revision, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.n++; m.n%2 == 0 && m.kept[name] != nil {
		return m.kept[name], nil
	}
	r, err := m.Store.Get(ctx, name, at)
	if err == nil {
		m.kept[name] = r
	}
	return r, err
}

// staleNote answers every second reading of a note from memory.
type staleNote struct {
	store.Store
	mu   sync.Mutex
	n    int
	kept map[string]*store.Note
}

func (m *staleNote) GetNote(ctx context.Context, space, key string) (*store.Note, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.n++; m.n%2 == 0 && m.kept[key] != nil {
		return m.kept[key], nil
	}
	n, err := m.Store.GetNote(ctx, space, key)
	if err == nil {
		m.kept[key] = n
	}
	return n, err
}

// earlyAnswer answers before it has published, now and then.
type earlyAnswer struct {
	store.Store
	n atomic.Int64
}

func (m *earlyAnswer) Publish(ctx context.Context, p store.Publication) (int64, error) {
	if m.n.Add(1)%4 != 0 {
		return m.Store.Publish(ctx, p)
	}
	go func() {
		time.Sleep(time.Millisecond)
		m.Store.Publish(context.WithoutCancel(ctx), p)
	}()
	head, err := m.Head(ctx)
	return head.Position + 1, err
}

// split writes a publication's notes after it instead of with it.
type split struct{ store.Store }

func (m split) Publish(ctx context.Context, p store.Publication) (int64, error) {
	give := p.Notes
	p.Notes = nil
	at, err := m.Store.Publish(ctx, p)
	if err != nil || give == nil {
		return at, err
	}
	time.Sleep(time.Millisecond)
	ws, err := give(at, p.Time)
	if err != nil {
		return at, err
	}
	if err := m.WriteNotes(ctx, ws); err != nil {
		return at, fmt.Errorf("notes behind position %d: %w", at, err)
	}
	return at, nil
}
