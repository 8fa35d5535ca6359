package sqlite

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/vfs"
	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/store"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// Every call of the engine to the file system fails in turn, once or from then on.
// What fails says so; nothing acknowledged is lost; nothing panics.
func TestInputOutputErrors(t *testing.T) {
	t.Parallel()
	for forever, step := range map[bool]int{false: 1, true: 4} {
		for k := 1; ; k += step {
			if !failAt(t, k, forever) {
				if k < 100 {
					t.Errorf("the script makes %d calls, too few to mean something", k-1)
				}
				break
			}
		}
	}
}

// failAt plays a script with the k-th call failing and reports whether it was reached.
func failAt(t *testing.T, k int, forever bool) (fired bool) {
	ctx := t.Context()
	d, h := newDisk(t), newHistory(t)
	what := ""
	d.failing(func(n int, c *call) error {
		if n == k || forever && n > k {
			if fired = true; what == "" {
				what = fmt.Sprintf("call %d, %s of %s, fails (and later ones: %t)", k, c.what, c.file, forever)
			}
			return syscall.EIO
		}
		return nil
	})
	dir, err := os.MkdirTemp(t.TempDir(), "")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "test.db")
	set := d.settings()
	set.tail, set.checkpoint = 3, 12
	failed := func(step string, err error) {
		if !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %s gives %q, which does not name the file", what, step, err)
		}
		if errors.Is(err, store.ErrConflict) || errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrInvalid) {
			t.Errorf("%s: %s gives %q, which blames the caller", what, step, err)
		}
	}
	s, err := open(ctx, path, set)
	if err != nil {
		failed("Open", err)
	} else {
		unknown := false
		for range 5 {
			if unknown {
				break // what the records' numbers are can only be learnt by reading
			}
			if err := h.publish(ctx, s); err != nil {
				failed("Publish", err)
				unknown = errors.Is(err, store.ErrUnknown)
			}
			if err := h.write(ctx, s); err != nil {
				failed("WriteNotes", err)
			}
			head, _ := s.Head(ctx)
			q := store.Query{Kind: specdata.KindFastener, Vehicle: "quill-1", Limit: 100}
			rs, err := s.List(ctx, q, head.Position)
			if err != nil {
				failed("List", err)
			} else if want := min(len(h.published), 7) + min(len(h.published), 6); len(rs) < want-1 {
				t.Errorf("%s: List gives %d records, want %d", what, len(rs), want)
			}
			if _, err := s.Search(ctx, "carrier bolt", "", 10); err != nil {
				failed("Search", err)
			}
			if _, err := s.Log(ctx, 0, head.Position, 100); err != nil {
				failed("Log", err)
			}
			readBeside(ctx, s, head, failed)
		}
		if unknown || s.broken.Load() != nil {
			if _, err := s.Publish(ctx, h.next()); !errors.Is(err, store.ErrReadOnly) {
				t.Errorf("%s: Publish after an unknown outcome gives %v, want %v", what, err, store.ErrReadOnly)
			}
			h.tried = h.tried[:len(h.tried)-1]
			if err := h.write(ctx, s); !errors.Is(err, store.ErrReadOnly) {
				t.Errorf("%s: WriteNotes after an unknown outcome gives %v, want %v", what, err, store.ErrReadOnly)
			}
		}
		if err := s.Close(); err != nil {
			failed("Close", err)
		}
	}
	d.failing(nil)
	if err := openAndVerify(ctx, path, set, h, h.acks); err != nil {
		t.Errorf("%s: opened again: %v", what, err)
	}
	return fired
}

// readBeside asks for the ledger and the notes.
func readBeside(ctx context.Context, s *Store, head store.Head, failed func(string, error)) {
	for what, ask := range map[string]func() error{
		"HeadAt": func() error { _, err := s.HeadAt(ctx, head.Position/2); return err },
		"Leaf": func() error {
			if head.Revisions == 0 {
				return nil
			}
			_, err := s.Leaf(ctx, head.Revisions-1)
			return err
		},
		"Hashes": func() error {
			if head.Revisions == 0 {
				return nil
			}
			_, err := s.Hashes(ctx, []int64{0, tlog.StoredHashCount(head.Revisions) - 1})
			return err
		},
		"GetNote": func() error {
			if _, err := s.GetNote(ctx, "shared", "0"); !errors.Is(err, store.ErrNotFound) {
				return err
			}
			return nil
		},
		"ListNotes": func() error {
			_, err := s.ListNotes(ctx, store.NoteQuery{Space: "written", Term: "all", Limit: 10})
			return err
		},
		"NoteSpaces": func() error { _, err := s.NoteSpaces(ctx); return err },
	} {
		if err := ask(); err != nil {
			failed(what, err)
		}
	}
}

// A full disk refuses publications with ErrFull, reads go on, and publications succeed
// again without a restart once there is space.
func TestDiskFull(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	d, h := newDisk(t), newHistory(t)
	set := d.settings()
	set.tail, set.checkpoint = 8, 24
	s := openSettings(t, filepath.Join(t.TempDir(), "test.db"), set)
	for room := range int64(20) {
		used, refused := int64(0), 0
		left := room * 3000 // bytes that may still be written
		d.failing(func(_ int, c *call) error {
			if c.what == "write" {
				if used += int64(len(c.data)); used > left {
					return vfs.SystemError(syscall.ENOSPC, sqlite3.FULL)
				}
			}
			return nil
		})
		for range 30 {
			if refused == 3 {
				break
			}
			err := errors.Join(h.publish(ctx, s), h.write(ctx, s))
			if err == nil {
				continue
			}
			refused++
			if !errors.Is(err, store.ErrFull) {
				t.Fatalf("writing on a full disk gives %v, want %v", err, store.ErrFull)
			}
			if err := h.verify(ctx, s, h.acks); err != nil {
				t.Fatalf("reading on a full disk: %v", err)
			}
			if hits, err := s.Search(ctx, "carrier bolt", "", 100); err != nil || len(hits) == 0 && len(h.published) > 0 {
				t.Fatalf("Search on a full disk gives %d hits, %v", len(hits), err)
			}
		}
		if refused == 0 {
			t.Fatalf("%d bytes of room were never used up", left)
		}
		d.failing(nil)
		if err := h.publish(ctx, s); err != nil {
			t.Fatalf("Publish when there is space again: %v", err)
		}
	}
	// What could not be moved into the file is when it has grown a little more.
	for range 2 * set.tail {
		if err := h.publish(ctx, s); err != nil {
			t.Fatal(err)
		}
	}
	if err := h.verify(ctx, s, h.acks); err != nil {
		t.Error(err)
	}
	if left := len(s.tail.snapshot()); left > 4*set.tail {
		t.Errorf("the tail has %d entries and was not moved when there was space again", left)
	}
}

// A failed sync is not tried again as if nothing had happened: the store takes no
// more writes, reads go on, and the next opening recovers.
func TestFailedSync(t *testing.T) {
	ctx := t.Context()
	for _, file := range []string{"test.db-wal", "test.db"} {
		d, h := newDisk(t), newHistory(t)
		path := filepath.Join(t.TempDir(), "test.db")
		set := d.settings()
		if file == "test.db" {
			set.checkpoint = 12 // which is when the file is synced
		}
		s, err := open(ctx, path, set)
		if err != nil {
			t.Fatal(err)
		}
		if err := h.publish(ctx, s); err != nil {
			t.Fatal(err)
		}
		syncs := 0
		d.failing(func(_ int, c *call) error {
			if c.what != "sync" || c.file != file {
				return nil
			}
			syncs++
			return syscall.EIO
		})
		var first error
		for range 20 {
			if first = h.publish(ctx, s); first != nil {
				break
			}
		}
		// The log's sync is the publication's own; the file's is a checkpoint's, which
		// nobody waits for, so it is the next publication that is refused.
		if want := map[string]error{"test.db-wal": store.ErrUnknown, "test.db": store.ErrReadOnly}[file]; !errors.Is(first, want) {
			t.Errorf("a failed sync of %s gives %v, want %v", file, first, want)
		}
		after := syncs
		for range 3 {
			if _, err := s.Publish(ctx, h.tried[0]); !errors.Is(err, store.ErrReadOnly) || !strings.Contains(err.Error(), path) {
				t.Errorf("Publish after a failed sync of %s gives %v, want %v", file, err, store.ErrReadOnly)
			}
		}
		if err := s.SetRelease(ctx, store.Release{Name: "r", Position: 1, Time: storetest.Epoch}); !errors.Is(err, store.ErrReadOnly) {
			t.Errorf("SetRelease after a failed sync of %s gives %v, want %v", file, err, store.ErrReadOnly)
		}
		if err := h.verify(ctx, s, h.acks); err != nil {
			t.Errorf("reading after a failed sync of %s: %v", file, err)
		}
		if err := s.Close(); err != nil {
			t.Errorf("Close after a failed sync of %s: %v", file, err)
		}
		if syncs != after || after == 0 {
			t.Errorf("%s was synced %d times after its sync failed", file, syncs-after)
		}
		d.failing(nil)
		if err := openAndVerify(ctx, path, set, h, h.acks); err != nil {
			t.Errorf("opened again after a failed sync of %s: %v", file, err)
		}
	}
}

// The engine's memory running out is an error, not the end of the process, and the
// store reads on.
func TestEngineGivesUp(t *testing.T) {
	ctx := t.Context()
	h := newHistory(t)
	s := openTest(t, filepath.Join(t.TempDir(), "test.db"))
	if err := h.publish(ctx, s); err != nil {
		t.Fatal(err)
	}
	giveUp := func(*conn) error { panic(errors.New("out of memory")) }
	if err := s.read(ctx, giveUp); err == nil || !strings.Contains(err.Error(), "out of memory") {
		t.Errorf("a read in which the engine gives up gives %v", err)
	}
	if err := h.publish(ctx, s); err != nil {
		t.Errorf("Publish after a read in which the engine gave up: %v", err)
	}
	_, err := s.do(ctx, 1, func(c *conn, _ *batch) (int64, bool, error) { return 0, false, giveUp(c) })
	if !errors.Is(err, store.ErrUnknown) {
		t.Errorf("a write in which the engine gives up gives %v, want %v", err, store.ErrUnknown)
	}
	if err := h.publish(ctx, s); !errors.Is(err, store.ErrReadOnly) {
		t.Errorf("Publish after a write in which the engine gave up gives %v, want %v", err, store.ErrReadOnly)
	}
	h.tried = h.tried[:2]
	if err := h.verify(context.WithoutCancel(ctx), s, h.acks); err != nil {
		t.Error(err)
	}
}
