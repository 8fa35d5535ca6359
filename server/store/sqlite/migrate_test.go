package sqlite

import (
	"errors"
	"math/rand/v2"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/ncruces/go-sqlite3"
	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/store"
	"proofload/server/store/storetest"
)

// version1 turns a store that is closed into one as version 1 wrote it.
func version1(t *testing.T, path string) {
	t.Helper()
	uri := url.URL{Scheme: "file", Path: filepath.ToSlash(path)}
	c, err := dial(t.Context(), uri.String(), MaxCache/8)
	if err == nil {
		err = c.Exec(`DROP TABLE note; DROP TABLE note_term; ALTER TABLE revision DROP COLUMN tree; PRAGMA user_version = 1`)
	}
	if err == nil {
		_, _, err = c.WALCheckpoint("main", sqlite3.CHECKPOINT_TRUNCATE) // so that the file alone is the store
	}
	if err != nil {
		t.Fatal(err)
	}
	// Version 1 kept no index of its pages.
	if err := errors.Join(c.close(), os.Remove(path+pagesEnd)); err != nil {
		t.Fatal(err)
	}
}

// allHashes returns every stored hash of the tree.
func allHashes(t *testing.T, s *Store) [][32]byte {
	t.Helper()
	head, err := s.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	xs := make([]int64, tlog.StoredHashCount(head.Revisions))
	for x := range xs {
		xs[x] = int64(x)
	}
	hs, err := s.Hashes(t.Context(), xs)
	if err != nil {
		t.Fatal(err)
	}
	return hs
}

// A store that version 1 wrote is brought up to date when it is opened: its tree is
// the one that it would have, and it goes on from there.
func TestMigration(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	for _, publications := range []int{0, 1, 5, 700} { // more than one share of filling
		path := filepath.Join(t.TempDir(), "test.db")
		h := newHistory(t)
		h.bare = true // version 1 had no notes
		s := openTest(t, path)
		for range publications {
			if err := h.publish(ctx, s); err != nil {
				t.Fatal(err)
			}
		}
		want := allHashes(t, s)
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		version1(t, path)
		s = openTest(t, path)
		if err := h.verify(ctx, s, h.acks); err != nil {
			t.Fatalf("%d publications: %v", publications, err)
		}
		if got := allHashes(t, s); !slices.Equal(got, want) {
			t.Errorf("%d publications: the tree has other hashes after the migration", publications)
		}
		for range 3 {
			if err := h.publish(ctx, s); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.WriteNotes(ctx, []store.NoteWrite{{Space: "corrections", Key: "n1", Terms: []string{"open"}, Body: []byte("x"), Time: storetest.Epoch}}); err != nil {
			t.Fatal(err)
		}
		if err := h.verify(ctx, s, h.acks); err != nil {
			t.Errorf("%d publications and what came after the migration: %v", publications, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// The power fails at every call of a migration, and whatever is on the disk then is
// brought up to date by the next opening, with the tree it should have.
func TestMigrationInterrupted(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	dir := t.TempDir()
	path := filepath.Join(dir, "test.db")
	h := newHistory(t)
	h.bare = true
	s := openTest(t, path)
	for range 30 {
		if err := h.publish(ctx, s); err != nil {
			t.Fatal(err)
		}
	}
	want := allHashes(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	version1(t, path)
	old, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d := newDisk(t)
	d.record = true
	if err := openAndVerify(ctx, path, d.settings(), h, h.acks); err != nil {
		t.Fatal(err)
	}
	calls := []call{{what: "open", file: "test.db"}, {what: "sync-folder"}, {what: "write", file: "test.db", data: old}, {what: "sync", file: "test.db"}}
	first := len(calls)
	calls = append(calls, d.calls...)
	if len(calls) < 40 {
		t.Fatalf("the migration makes %d calls, too few to mean something", len(calls)-first)
	}
	for at := first; at <= len(calls); at++ {
		for seed := range max(1, *crashPoints/1000) {
			crashed := t.TempDir()
			for name, content := range afterPowerFailure(calls[:at], rand.New(rand.NewPCG(uint64(at), uint64(seed)))) {
				if err := os.WriteFile(filepath.Join(crashed, name), content, 0o666); err != nil {
					t.Fatal(err)
				}
			}
			set := newDisk(t).settings()
			s, err := open(ctx, filepath.Join(crashed, "test.db"), set)
			if err != nil {
				t.Fatalf("power failure at call %d of %d: %v", at, len(calls), err)
			}
			if err := h.verify(ctx, s, h.acks); err != nil {
				t.Fatalf("power failure at call %d of %d: %v", at, len(calls), err)
			}
			if got := allHashes(t, s); !slices.Equal(got, want) {
				t.Fatalf("power failure at call %d of %d: the tree has other hashes", at, len(calls))
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("%d calls", len(calls)-first)
}
