package postgres

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"sync"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/sqlite"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// The whole contract is played to a store in PostgreSQL and one in SQLite side by
// side: every answer, every kind of error and at the end the ledger's root are the same.
func TestBesideSQLite(t *testing.T) {
	t.Parallel()
	server := pgtest.Shared(t)
	storetest.Run(t, func(t *testing.T) store.Store {
		lite, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), sqlite.Options{})
		if err != nil {
			t.Fatal(err)
		}
		return &beside{t: t, a: openTest(t, server.Address()), b: lite}
	})
}

// beside asks two stores and compares.
type beside struct {
	t    *testing.T
	a, b store.Store
	// mu lets writes come to both in one order, and keeps them out of a comparison.
	mu sync.RWMutex
}

// kinds are the errors that must be alike.
var kinds = []error{
	store.ErrNotFound, store.ErrConflict, store.ErrFuture, store.ErrInvalid, store.ErrFull, store.ErrCorrupt, store.ErrReadOnly,
	store.ErrUnknown, store.ErrNewer, store.ErrClosed, context.Canceled, context.DeadlineExceeded,
}

// both asks both stores and returns the answer of the first.
func both[T any](s *beside, what string, ask func(store.Store) (T, error)) (T, error) {
	a, errA := ask(s.a)
	b, errB := ask(s.b)
	for _, k := range kinds {
		if errors.Is(errA, k) != errors.Is(errB, k) {
			s.t.Errorf("%s:\nPostgreSQL gives error %v\n    SQLite gives error %v", what, errA, errB)
		}
	}
	if errA == nil && errB == nil && !reflect.DeepEqual(a, b) {
		s.t.Errorf("%s:\nPostgreSQL gives %+v\n    SQLite gives %+v", what, a, b)
	}
	return a, errA
}

func reading[T any](s *beside, what string, ask func(store.Store) (T, error)) (T, error) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return both(s, what, ask)
}

func writing(s *beside, what string, ask func(store.Store) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, err := both(s, what, func(x store.Store) (struct{}, error) { return struct{}{}, ask(x) })
	return err
}

func (s *beside) Publish(ctx context.Context, p store.Publication) (int64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return both(s, "Publish", func(x store.Store) (int64, error) { return x.Publish(ctx, p) })
}

func (s *beside) Head(ctx context.Context) (store.Head, error) {
	return reading(s, "Head", func(x store.Store) (store.Head, error) { return x.Head(ctx) })
}

func (s *beside) Resolve(ctx context.Context, at store.At) (int64, error) {
	return reading(s, "Resolve "+at.String(), func(x store.Store) (int64, error) { return x.Resolve(ctx, at) })
}

func (s *beside) Get(ctx context.Context, name specdata.Name, position int64) (*store.Revision, error) {
	return reading(s, fmt.Sprintf("Get(%s, %d)", name, position), func(x store.Store) (*store.Revision, error) { return x.Get(ctx, name, position) })
}

func (s *beside) GetRevision(ctx context.Context, name specdata.Name, number int64) (*store.Revision, error) {
	return reading(s, fmt.Sprintf("GetRevision(%s, %d)", name, number), func(x store.Store) (*store.Revision, error) { return x.GetRevision(ctx, name, number) })
}

func (s *beside) Revisions(ctx context.Context, name specdata.Name, position, before int64, limit int) ([]*store.Revision, error) {
	return reading(s, fmt.Sprintf("Revisions(%s, %d, %d, %d)", name, position, before, limit), func(x store.Store) ([]*store.Revision, error) {
		return x.Revisions(ctx, name, position, before, limit)
	})
}

func (s *beside) List(ctx context.Context, q store.Query, position int64) ([]*store.Revision, error) {
	return reading(s, fmt.Sprintf("List(%+v, %d)", q, position), func(x store.Store) ([]*store.Revision, error) { return x.List(ctx, q, position) })
}

func (s *beside) Uses(ctx context.Context, name specdata.Name, position int64) ([]specdata.Name, error) {
	return reading(s, fmt.Sprintf("Uses(%s, %d)", name, position), func(x store.Store) ([]specdata.Name, error) { return x.Uses(ctx, name, position) })
}

func (s *beside) Search(ctx context.Context, words string, kind specdata.Kind, limit int) ([]store.Hit, error) {
	return reading(s, fmt.Sprintf("Search(%q, %s, %d)", words, kind, limit), func(x store.Store) ([]store.Hit, error) { return x.Search(ctx, words, kind, limit) })
}

func (s *beside) Log(ctx context.Context, after, upTo int64, limit int) ([]*store.Revision, error) {
	return reading(s, fmt.Sprintf("Log(%d, %d, %d)", after, upTo, limit), func(x store.Store) ([]*store.Revision, error) { return x.Log(ctx, after, upTo, limit) })
}

func (s *beside) HeadAt(ctx context.Context, position int64) (store.Head, error) {
	return reading(s, fmt.Sprintf("HeadAt(%d)", position), func(x store.Store) (store.Head, error) { return x.HeadAt(ctx, position) })
}

// Await is not compared: the two wake at different moments.
func (s *beside) Await(ctx context.Context, position int64) (store.Head, error) {
	if _, err := s.b.Await(ctx, position); err != nil {
		return store.Head{}, err
	}
	return s.a.Await(ctx, position)
}

func (s *beside) Leaf(ctx context.Context, index int64) (*store.Revision, error) {
	return reading(s, fmt.Sprintf("Leaf(%d)", index), func(x store.Store) (*store.Revision, error) { return x.Leaf(ctx, index) })
}

func (s *beside) Hashes(ctx context.Context, indexes []int64) ([][32]byte, error) {
	return reading(s, fmt.Sprintf("Hashes(%d)", indexes), func(x store.Store) ([][32]byte, error) { return x.Hashes(ctx, indexes) })
}

func (s *beside) WriteNotes(ctx context.Context, writes []store.NoteWrite) error {
	return writing(s, "WriteNotes", func(x store.Store) error { return x.WriteNotes(ctx, writes) })
}

func (s *beside) GetNote(ctx context.Context, space, key string) (*store.Note, error) {
	return reading(s, fmt.Sprintf("GetNote(%s, %s)", space, key), func(x store.Store) (*store.Note, error) { return x.GetNote(ctx, space, key) })
}

func (s *beside) ListNotes(ctx context.Context, q store.NoteQuery) ([]*store.Note, error) {
	return reading(s, fmt.Sprintf("ListNotes(%+v)", q), func(x store.Store) ([]*store.Note, error) { return x.ListNotes(ctx, q) })
}

func (s *beside) NoteSpaces(ctx context.Context) ([]string, error) {
	return reading(s, "NoteSpaces", func(x store.Store) ([]string, error) { return x.NoteSpaces(ctx) })
}

func (s *beside) SetRelease(ctx context.Context, r store.Release) error {
	return writing(s, "SetRelease", func(x store.Store) error { return x.SetRelease(ctx, r) })
}

func (s *beside) Releases(ctx context.Context) ([]store.Release, error) {
	return reading(s, "Releases", func(x store.Store) ([]store.Release, error) { return x.Releases(ctx) })
}

func (s *beside) Check(ctx context.Context) error {
	_, err := reading(s, "Check", func(x store.Store) (struct{}, error) { return struct{}{}, x.Check(ctx) })
	if err != nil {
		return err
	}
	return s.roots(ctx)
}

// roots compares the ledgers of the two by root and every stored hash.
func (s *beside) roots(ctx context.Context) error {
	head, err := s.Head(ctx)
	if err != nil {
		return err
	}
	_, err = reading(s, "root", func(x store.Store) (tlog.Hash, error) {
		return ledger.Root(head.Revisions, tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
			hs, err := x.Hashes(ctx, indexes)
			return column(hs, func(h [32]byte) tlog.Hash { return h }), err
		}))
	})
	return err
}

func (s *beside) Rebuild(ctx context.Context) error {
	return writing(s, "Rebuild", func(x store.Store) error { return x.Rebuild(ctx) })
}

func (s *beside) Close() error { return errors.Join(s.a.Close(), s.b.Close()) }
