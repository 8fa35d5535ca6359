// Package trail lets nobody with authority act without a trace: whatever gives out a
// token or takes one back, decides on a correction, signs one, names a release or
// accepts a finding becomes a leaf of the ledger in the same transaction, and a line
// of the server's log.
//
// It is between the service and its store and reads what is written there, so
// that no room can forget to say what it does.
package trail

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"strings"
	"sync/atomic"
	"time"

	"proofload/server/access"
	"proofload/server/desk"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/act"
)

// Store is a store whose acts of authority leave a trace. Secrets are in none of them.
type Store struct {
	store.Store
	log *slog.Logger
	// adopted says that every token of the store has its leaf.
	adopted atomic.Bool
}

// New returns a store that leaves a trace of what is done to another.
func New(s store.Store, log *slog.Logger) *Store { return &Store{Store: s, log: log} }

// maxTries bounds how often an act is written again because others wrote in between.
const maxTries = 20

// WriteNotes implements store.Store. What is an act becomes a leaf together with the notes.
func (s *Store) WriteNotes(ctx context.Context, writes []store.NoteWrite) error {
	acts, at, err := s.acts(ctx, writes)
	if err != nil {
		return err
	}
	first := false
	for _, w := range writes {
		first = first || w.Space == access.FirstSpace
	}
	// The first tokens of a new library are given before anybody could act. Their leaves
	// come with the first act, which nobody can do without one of them.
	if len(acts) == 0 || first {
		err = s.Store.WriteNotes(ctx, writes)
	} else {
		err = s.publish(ctx, acts, at, writes)
	}
	for _, a := range acts {
		s.line(ctx, a, err)
	}
	return err
}

// publish writes acts, and with the first of them the tokens that have no leaf yet.
func (s *Store) publish(ctx context.Context, acts []*act.Act, at time.Time, writes []store.NoteWrite) error {
	var err error
	for range maxTries {
		all := acts
		adopts := !s.adopted.Load()
		if adopts {
			var old []*act.Act
			if old, err = s.unmarked(ctx, acts); err != nil {
				return err
			}
			all = append(old, acts...)
		}
		p := store.Publication{Time: at, Reason: acts[0].Title, Reviewer: acts[0].Second}
		if acts[0].By != "" {
			p.Authors = []string{acts[0].By}
		}
		if len(writes) > 0 {
			p.Notes = func(int64, time.Time) ([]store.NoteWrite, error) { return writes, nil }
		}
		for _, a := range all {
			doc, err := a.Document()
			if err != nil {
				return err
			}
			p.Changes = append(p.Changes, store.Change{Name: a.Name(), Document: doc})
		}
		if _, err = s.Store.Publish(ctx, p); err == nil {
			s.adopted.Store(true)
			return nil
		}
		// Another node gave the old tokens their leaves first.
		if moved := (*store.Conflict)(nil); !adopts || !errors.As(err, &moved) {
			return err
		}
	}
	return err
}

// unmarked returns the acts of tokens that were given before their leaves were kept,
// but for those that are about to be written.
func (s *Store) unmarked(ctx context.Context, coming []*act.Act) ([]*act.Act, error) {
	head, err := s.Head(ctx)
	if err != nil {
		return nil, err
	}
	tokens, err := access.NewKeys(s.Store, time.Now).List(ctx)
	if err != nil {
		return nil, err
	}
	soon := map[specdata.Name]bool{}
	for _, a := range coming {
		soon[a.Name()] = true
	}
	var out []*act.Act
	for _, t := range tokens {
		list := []*act.Act{given(t)}
		if !t.Revoked.IsZero() {
			list = append(list, revoked(t))
		}
		for _, a := range list {
			if soon[a.Name()] {
				continue
			}
			switch _, err := s.Get(ctx, a.Name(), head.Position); {
			case errors.Is(err, store.ErrNotFound):
				out = append(out, a)
			case err != nil:
				return nil, err
			}
		}
	}
	return out, nil
}

// Publish implements store.Store. A waiver that a revision gives or ends is an act too.
func (s *Store) Publish(ctx context.Context, p store.Publication) (int64, error) {
	waivers, err := s.waivers(ctx, p)
	if err != nil {
		return 0, err
	}
	first := ""
	if len(p.Changes) > 0 {
		first = string(p.Changes[0].Name)
	}
	records := len(p.Changes)
	for _, a := range waivers {
		doc, err := a.Document()
		if err != nil {
			return 0, err
		}
		p.Changes = append(p.Changes[:len(p.Changes):len(p.Changes)], store.Change{Name: a.Name(), Document: doc})
	}
	position, err := s.Store.Publish(ctx, p)
	attrs := []slog.Attr{slog.Int64("position", position), slog.Int("changes", records), slog.String("first", first),
		slog.String("authors", strings.Join(p.Authors, ", ")), slog.String("reviewer", p.Reviewer), slog.String("reason", p.Reason)}
	if by := access.Caller(ctx); by != nil {
		attrs = append(attrs, slog.String("by", by.Person), slog.String("token", by.ID))
	}
	s.write(ctx, "publish", err, attrs)
	for _, a := range waivers {
		s.line(ctx, a, err)
	}
	return position, err
}

// SetRelease implements store.Store. The leaf is written first: where the server ends
// in between, naming the release again, as the same or another, first finishes it.
func (s *Store) SetRelease(ctx context.Context, r store.Release) error {
	a, err := s.release(ctx, r)
	if a != nil && err == nil {
		err = s.publish(ctx, []*act.Act{a}, r.Time, nil)
		if errors.Is(err, store.ErrConflict) {
			err = nil // it has its leaf
		}
	}
	if err == nil {
		err = s.Store.SetRelease(ctx, r)
	}
	if a != nil {
		s.line(ctx, a, err)
	}
	return err
}

// release returns the act of naming a release, nil where it is named already.
func (s *Store) release(ctx context.Context, r store.Release) (*act.Act, error) {
	if err := r.Validate(); err != nil {
		return nil, err
	}
	head, err := s.Head(ctx)
	if err != nil {
		return nil, err
	}
	if r.Position > head.Position {
		return nil, store.Future(r.Position, head.Position)
	}
	all, err := s.Releases(ctx)
	if err != nil {
		return nil, err
	}
	for _, old := range all {
		if old.Name == r.Name {
			return nil, nil // what SetRelease says of it holds
		}
	}
	a := released(ctx, r)
	began, err := s.Get(ctx, a.Name(), head.Position)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return a, nil
	case err != nil:
		return nil, err
	}
	old, err := act.Parse(a.Name(), began.Document)
	if err != nil {
		return nil, err
	}
	was, err := releaseOf(old, began.Time)
	if err != nil {
		return nil, err
	}
	return nil, s.Store.SetRelease(ctx, was)
}

func (s *Store) line(ctx context.Context, a *act.Act, err error) {
	attrs := []slog.Attr{slog.String("about", a.About), slog.String("says", a.Title), slog.String("by", a.By), slog.String("token", a.Token)}
	if a.Second != "" {
		attrs = append(attrs, slog.String("second", a.Second))
	}
	s.write(ctx, strings.ReplaceAll(string(a.What), "-", " "), err, attrs)
}

func (s *Store) write(ctx context.Context, what string, err error, attrs []slog.Attr) {
	if err != nil {
		attrs = append(attrs, slog.String("refused", err.Error()))
	}
	s.log.LogAttrs(ctx, slog.LevelInfo, what, attrs...)
}

// acts returns what writes of notes do that needs authority, and when.
func (s *Store) acts(ctx context.Context, writes []store.NoteWrite) (acts []*act.Act, at time.Time, err error) {
	for _, w := range writes {
		var found []*act.Act
		switch w.Space {
		case access.TokenSpace:
			found, err = tokenActs(w)
		case access.GrantSpace:
			found = askedActs(ctx, w)
		case desk.SpaceCorrections:
			found, err = s.decisions(ctx, w)
		case keySpace:
			found = keyActs(ctx, w)
		}
		if err != nil {
			return nil, at, err
		}
		if acts = append(acts, found...); len(found) > 0 {
			at = w.Time
		}
	}
	return acts, at, nil
}

// decisions returns what a write of a correction adds to it: decisions, signatures, its
// withdrawal. What publishes it is the publication itself.
func (s *Store) decisions(ctx context.Context, w store.NoteWrite) ([]*act.Act, error) {
	if w.Body == nil {
		return nil, nil
	}
	var now, was desk.Correction
	if err := json.Unmarshal(w.Body, &now); err != nil {
		return nil, err
	}
	n, err := s.GetNote(ctx, w.Space, w.Key)
	switch {
	case errors.Is(err, store.ErrNotFound):
	case err != nil:
		return nil, err
	default:
		if err := json.Unmarshal(n.Body, &was); err != nil {
			return nil, err
		}
	}
	return correctionActs(ctx, &was, &now), nil
}
