package sqlite

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proofload/server/store"
	"proofload/server/store/storetest"
)

// aged is a store's file with its index as they are, and the file as it was before the
// last publications, page by page.
type aged struct {
	path            string
	now, index, old []byte
	h               *history
	set             settings
}

const pageSize = 4096

func newAged(t *testing.T) *aged {
	ctx := t.Context()
	a := &aged{path: filepath.Join(t.TempDir(), "test.db"), h: newHistory(t), set: usual(Options{})}
	a.set.tail, a.set.checkpoint = 8, 24
	run := func(n int) []byte {
		s, err := open(ctx, a.path, a.set)
		if err != nil {
			t.Fatal(err)
		}
		for range n {
			if err := errors.Join(a.h.publish(ctx, s), a.h.write(ctx, s)); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		content, err := os.ReadFile(a.path)
		if err != nil {
			t.Fatal(err)
		}
		return content
	}
	a.old = run(60)
	a.now = run(12)
	var err error
	if a.index, err = os.ReadFile(a.path + pagesEnd); err != nil {
		t.Fatal(err)
	}
	return a
}

// restore puts the files as they are, with the pages of another in the places named.
func (a *aged) restore(t *testing.T, from []byte, places map[int]int) {
	t.Helper()
	file := bytes.Clone(a.now)
	for to, page := range places {
		copy(file[to*pageSize:], from[page*pageSize:(page+1)*pageSize])
	}
	for _, end := range besides {
		if err := os.RemoveAll(a.path + end); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(os.WriteFile(a.path, file, 0o600), os.WriteFile(a.path+pagesEnd, a.index, 0o600)); err != nil {
		t.Fatal(err)
	}
}

// A write that the disk acknowledged and lost leaves the page as it was before, and one
// that it put somewhere else leaves another page: both carry good checksums. Nothing of
// either is ever served, and no backup is made of it.
func TestLostAndMisdirectedWrites(t *testing.T) {
	t.Parallel()
	a := newAged(t)
	pages, before := len(a.now)/pageSize, len(a.old)/pageSize
	try := func(what string, from []byte, places map[int]int) {
		t.Helper()
		a.restore(t, from, places)
		backup := filepath.Join(t.TempDir(), "backup.db")
		_, copying := Backup(t.Context(), a.path, backup)
		if copying == nil { // the page is one of an index, which a backup makes again
			if err := openAndVerify(t.Context(), backup, a.set, a.h, a.h.acks); err != nil {
				t.Errorf("%s: it is backed up, with: %v", what, err)
			}
		}
		opening := openAndVerify(t.Context(), a.path, a.set, a.h, a.h.acks)
		if copying != nil && !errors.Is(copying, store.ErrCorrupt) {
			t.Errorf("%s: backing it up gives %v", what, copying)
		}
		if !errors.Is(opening, store.ErrCorrupt) {
			t.Errorf("%s: opening and reading all gives %v", what, opening)
		}
	}
	lost := 0
	for i := range min(pages, before) {
		if bytes.Equal(a.now[i*pageSize:(i+1)*pageSize], a.old[i*pageSize:(i+1)*pageSize]) {
			continue
		}
		lost++
		try(fmt.Sprintf("page %d as it was before", i+1), a.old, map[int]int{i: i})
	}
	if lost < 10 {
		t.Errorf("only %d pages differ; the test shows little", lost)
	}
	r := rand.New(rand.NewPCG(3, 4))
	for range 30 {
		to, from := r.IntN(pages), r.IntN(pages)
		if to == from {
			continue
		}
		try(fmt.Sprintf("page %d in the place of page %d", from+1, to+1), a.now, map[int]int{to: from})
	}
	// All of the last writes lost at once: the file as a whole is as it was.
	all := map[int]int{}
	for i := range min(pages, before) {
		all[i] = i
	}
	try("the whole file as it was before", a.old, all)
	a.restore(t, a.now, nil)
	if err := openAndVerify(t.Context(), a.path, a.set, a.h, a.h.acks); err != nil {
		t.Errorf("the file as it is: %v", err)
	}
}

// A page that goes bad under a running store is refused from then on, and nothing is
// written any more.
func TestPageLostWhileOpen(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	a := newAged(t)
	s, err := open(ctx, a.path, a.set)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	f, err := os.OpenFile(a.path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for i := 1; i < min(len(a.old), len(a.now))/pageSize; i++ { // all but the first, which connections keep
		if _, err := f.WriteAt(a.old[i*pageSize:(i+1)*pageSize], int64(i)*pageSize); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Check(ctx); !errors.Is(err, store.ErrCorrupt) || !strings.Contains(err.Error(), "not the one that was written there last") {
		t.Errorf("Check gives %v", err)
	}
	if err := s.Present(); !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("Present gives %v", err)
	}
	if err := a.h.publish(ctx, s); !errors.Is(err, store.ErrReadOnly) {
		t.Errorf("publishing gives %v", err)
	}
}

// Where the index is gone, or is that of another file, the whole file is checked before
// anything is served.
func TestIndexGone(t *testing.T) {
	t.Parallel()
	a := newAged(t)
	if err := os.Remove(a.path + pagesEnd); err != nil {
		t.Fatal(err)
	}
	if err := openAndVerify(t.Context(), a.path, a.set, a.h, a.h.acks); err != nil {
		t.Errorf("without its index: %v", err)
	}
	if _, err := os.Stat(a.path + pagesEnd); err != nil {
		t.Errorf("the index was not made again: %v", err)
	}
	for what, spoil := range map[string]func([]byte) []byte{
		"another magic":     func(b []byte) []byte { b[0] ^= 1; return b },
		"another page size": func(b []byte) []byte { b[8] ^= 1; return b },
		"a sum with a flip": func(b []byte) []byte { b[pagesHeader+9] ^= 4; return b },
		"of an older file":  func(b []byte) []byte { copy(b[pagesHeader:], b[pagesHeader+8:]); return b },
	} {
		a.restore(t, nil, nil)
		if err := os.WriteFile(a.path+pagesEnd, spoil(bytes.Clone(a.index)), 0o600); err != nil {
			t.Fatal(err)
		}
		err := openAndVerify(t.Context(), a.path, a.set, a.h, a.h.acks)
		if !errors.Is(err, store.ErrCorrupt) || !strings.Contains(err.Error(), "remove test.db.pages") {
			t.Errorf("an index with %s: %v, want a refusal that says what to do", what, err)
		}
	}
}

// A file that is removed, replaced, emptied or cut off under an open store takes no
// acknowledged publication with it.
func TestFileTakenAway(t *testing.T) {
	t.Parallel()
	for what, take := range map[string]func(path string, other string) error{
		"removed": func(path, _ string) error {
			return errors.Join(os.Remove(path), os.Remove(path+"-wal"), os.Remove(path+"-shm"))
		},
		"its log removed": func(path, _ string) error { return os.Remove(path + "-wal") },
		"its log emptied": func(path, _ string) error { return os.Truncate(path+"-wal", 0) },
		"replaced":        func(path, other string) error { return os.Rename(other, path) },
		"emptied":         func(path, _ string) error { return os.Truncate(path, 0) },
		"cut off":         func(path, _ string) error { return os.Truncate(path, 3*pageSize) },
	} {
		t.Run(what, func(t *testing.T) {
			ctx, h := context.Background(), newHistory(t)
			path := filepath.Join(t.TempDir(), "test.db")
			s := openTest(t, path)
			for range 9 {
				if err := h.publish(ctx, s); err != nil {
					t.Fatal(err)
				}
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			if s = openTest(t, path); s.Present() != nil {
				t.Fatal(s.Present())
			}
			other := filepath.Join(t.TempDir(), "backup.db")
			if _, err := Backup(ctx, path, other); err != nil {
				t.Fatal(err)
			}
			if err := h.publish(ctx, s); err != nil {
				t.Fatal(err)
			}
			if err := take(path, other); err != nil {
				t.Fatal(err)
			}
			if err := h.publish(ctx, s); err == nil {
				t.Error("a publication is acknowledged")
			} else if !errors.Is(err, store.ErrReadOnly) || !strings.Contains(err.Error(), "while it is open") {
				t.Errorf("publishing gives %v", err)
			}
			if err := s.WriteNotes(ctx, []store.NoteWrite{{Space: "s", Key: "k", Base: store.AnyVersion, Body: []byte("x"), Time: storetest.Epoch}}); !errors.Is(err, store.ErrReadOnly) {
				t.Errorf("writing a note gives %v", err)
			}
			if s.Present() == nil {
				t.Error("nothing is said of it")
			}
		})
	}
}

// A store is one store by whichever name it is opened, only its owner may open its
// files, and none is made where one is said to be there.
func TestPlace(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	path := filepath.Join(dir, "test.db")
	if _, err := Open(ctx, path, Options{Existing: true}); err == nil || !strings.Contains(err.Error(), "not there") {
		t.Errorf("opening what is not there: %v", err)
	}
	s := openTest(t, path)
	h := newHistory(t)
	if err := h.publish(ctx, s); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(path, filepath.Join(dir, "link.db")); err != nil {
		t.Fatal(err)
	}
	if err := os.Link(path, filepath.Join(t.TempDir(), "hard.db")); err == nil {
		hard := filepath.Join(dir, "hard.db")
		if err := os.Link(path, hard); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(ctx, hard, Options{}); !errors.Is(err, errInUse) {
			t.Errorf("by a hard link: %v, want %v", err, errInUse)
		}
	}
	if _, err := Open(ctx, filepath.Join(dir, "link.db"), Options{}); !errors.Is(err, errInUse) {
		t.Errorf("by a symbolic link: %v, want %v", err, errInUse)
	}
	narrow := func() {
		t.Helper()
		for _, end := range append([]string{""}, besides...) {
			if info, err := os.Stat(path + end); err == nil && info.Mode().Perm()&0o077 != 0 {
				t.Errorf("%s may be opened by others: %04o", info.Name(), info.Mode().Perm())
			}
		}
	}
	narrow()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	s = openTest(t, path)
	narrow()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, 0); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ctx, path, Options{}); !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("an emptied file: %v, want %v", err, store.ErrCorrupt)
	}
}
