package guard

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/store"
)

// Mark is the highest position that was seen, as it is kept in a file.
type Mark struct {
	Epoch    int64     `json:"epoch"`
	Position int64     `json:"position"`
	Size     int64     `json:"size"`
	Root     tlog.Hash `json:"root"`
	// Time is when it was kept.
	Time time.Time `json:"time"`
}

// ReadFile reads a kept mark, nil where there is none.
func ReadFile(file string) (*Mark, error) {
	if file == "" {
		return nil, nil
	}
	b, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("mark of the newest position: %w", err)
	}
	m := &Mark{}
	if err := json.Unmarshal(b, m); err != nil || m.Epoch < 1 || m.Position < 0 || m.Size < m.Position {
		return nil, fmt.Errorf("mark of the newest position %s: %w: it cannot be read (%v); remove it if you know that the store is the newest", file, store.ErrCorrupt, err)
	}
	return m, nil
}

// WriteFile keeps a mark: the old one or the new one is there at any moment.
func WriteFile(file string, m Mark) error {
	b, err := json.Marshal(m)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+".*")
	if err != nil {
		return fmt.Errorf("mark of the newest position: %w", err)
	}
	_, err = f.Write(append(b, '\n'))
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), file)
	}
	if err != nil {
		err = errors.Join(fmt.Errorf("mark of the newest position: %w", err), os.Remove(f.Name()))
	}
	return err
}

// keep writes the mark to its file where it moved, and the hour that it is.
func (g *Store) keep() error {
	if g.set.File == "" || g.why.Load() != nil {
		return nil
	}
	g.moving.Lock()
	defer g.moving.Unlock()
	m, now := g.mark.Load(), g.set.Now()
	if m.head.Position == g.clock.keptPosition && now.Sub(g.clock.keptAt) < time.Hour && !g.clock.keptAt.IsZero() {
		return nil
	}
	root, err := m.edge.Root()
	if err == nil {
		err = WriteFile(g.set.File, Mark{Epoch: g.epoch.Number, Position: m.head.Position, Size: m.head.Revisions, Root: root, Time: now.UTC()})
	}
	if err == nil {
		g.clock.keptPosition, g.clock.keptAt = m.head.Position, now
	}
	return err
}

const (
	epochSpace = "history"
	epochKey   = "epoch"
)

// ReadEpoch reads the epoch of a store.
func ReadEpoch(ctx context.Context, s store.Store) (store.Epoch, error) {
	n, err := s.GetNote(ctx, epochSpace, epochKey)
	if errors.Is(err, store.ErrNotFound) {
		return store.Epoch{Number: 1}, nil
	}
	if err != nil {
		return store.Epoch{}, err
	}
	var e store.Epoch
	if err := json.Unmarshal(n.Body, &e); err != nil || e.Number < 2 {
		return store.Epoch{}, fmt.Errorf("note %s/%s: %w: %v", epochSpace, epochKey, store.ErrCorrupt, err)
	}
	return e, nil
}

// WriteEpoch declares a restore: the store's history goes on from where it is, in
// another epoch.
func WriteEpoch(ctx context.Context, s store.Store, e store.Epoch) error {
	body, err := json.Marshal(e)
	if err != nil {
		return err
	}
	return s.WriteNotes(ctx, []store.NoteWrite{{Space: epochSpace, Key: epochKey, Base: store.AnyVersion, Body: body, Time: e.Time}})
}

// MarkOf returns the mark of a store as it is.
func MarkOf(ctx context.Context, s store.Store, now time.Time) (Mark, error) {
	g := &Store{Store: s}
	e, err := ReadEpoch(ctx, s)
	if err != nil {
		return Mark{}, err
	}
	head, err := s.Head(ctx)
	if err != nil {
		return Mark{}, err
	}
	m, err := g.read(ctx, head)
	if err != nil {
		return Mark{}, err
	}
	root, err := m.edge.Root()
	return Mark{Epoch: e.Number, Position: head.Position, Size: head.Revisions, Root: root, Time: now.UTC()}, err
}
