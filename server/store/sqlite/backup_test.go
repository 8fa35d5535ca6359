package sqlite

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/storetest"
)

// Backups that are made while others write hold one moment, and are restored
// elsewhere by opening them: whole, sound and with the root that the store had there.
func TestBackup(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "a store, 100% ?new#1.db")
	set := usual(Options{})
	set.tail, set.checkpoint = 40, 100
	s := openSettings(t, path, set)
	h := newHistory(t)
	write := func() {
		if err := errors.Join(h.publish(ctx, s), h.write(ctx, s)); err != nil {
			t.Error(err)
		}
	}
	write()
	var stop atomic.Bool
	var wg sync.WaitGroup
	wg.Go(func() {
		for !stop.Load() && !t.Failed() {
			write()
		}
	})
	dir := t.TempDir()
	var names []string
	var made []Copied
	for i := range 6 {
		name := filepath.Join(dir, "backup %41 ?"+string(rune('a'+i)))
		done, err := Backup(ctx, path, name)
		if err != nil {
			t.Fatal(err)
		}
		names, made = append(names, name), append(made, done)
	}
	stop.Store(true)
	wg.Wait()
	rest, err := os.ReadDir(dir)
	if err != nil || len(rest) != len(names) {
		t.Errorf("%d backups left %d files: %v, %v", len(names), len(rest), rest, err)
	}
	if made[0].Position == made[len(made)-1].Position {
		t.Error("nothing was written while backups were made")
	}
	for i, name := range names {
		elsewhere := filepath.Join(t.TempDir(), "restored.db")
		if err := os.Rename(name, elsewhere); err != nil {
			t.Fatal(err)
		}
		r := openTest(t, elsewhere)
		head := *r.head.Load()
		then, err := s.HeadAt(ctx, head.Position)
		if err != nil || head != then || head != made[i].Head {
			t.Fatalf("backup %d was made at %+v, is at %+v; the store was at %+v then, %v", i, made[i].Head, head, then, err)
		}
		if err := h.verify(ctx, r, newAcks()); err != nil {
			t.Errorf("backup %d: %v", i, err)
		}
		got, want := allHashes(t, r), allHashes(t, s)
		if !slices.Equal(got, want[:len(got)]) {
			t.Errorf("backup %d has other hashes than the store", i)
		}
		e, err := ledger.ReadEdge(head.Revisions, s.write.c)
		if err != nil {
			t.Fatal(err)
		}
		if root, err := ledger.Root(head.Revisions, e); err != nil || root != made[i].Root {
			t.Errorf("backup %d is said to have root %x, the store had %x, %v", i, made[i].Root, root, err)
		}
		// What is restored is a store like any other.
		if _, err := r.Publish(ctx, storetest.Publication(1, storetest.Put(t, storetest.Bolt(900, 60), 0))); err != nil {
			t.Errorf("publishing in a restored store: %v", err)
		}
	}
	if err := h.verify(ctx, s, h.acks); err != nil {
		t.Error(err)
	}
}

// What cannot be copied is refused, and leaves nothing behind.
func TestBackupRefuses(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	from := t.TempDir()
	in := func(name string) string { return filepath.Join(from, name) }
	h := newHistory(t)
	h.bare = true
	closed := func(name string) {
		s := openTest(t, in(name))
		for range 20 {
			if err := h.publish(ctx, s); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		h = newHistory(t)
		h.bare = true
	}
	for _, name := range []string{"good.db", "old.db", "newer.db", "flipped.db", "tree.db"} {
		closed(name)
	}
	version1(t, in("old.db"))
	sql := func(name, text string) {
		c, err := dial(ctx, fileURI(in(name), "rw", ""), 1<<20)
		if err == nil {
			err = c.Exec(text)
		}
		if err == nil {
			_, _, err = c.WALCheckpoint("main", sqlite3.CHECKPOINT_TRUNCATE)
		}
		if err == nil {
			err = errors.Join(c.close(), os.Remove(in(name)+pagesEnd)) // it would not get past the index
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	sql("newer.db", `PRAGMA user_version = 99`)
	sql("tree.db", `UPDATE revision SET reason = 'because' WHERE leaf = 5`)
	bytes, err := os.ReadFile(in("flipped.db"))
	if err != nil {
		t.Fatal(err)
	}
	bytes[len(bytes)/2] ^= 1
	for name, content := range map[string][]byte{"flipped.db": bytes, "text.db": []byte(strings.Repeat("kind: fastener\n", 1000)), "empty.db": {}} {
		if err := os.WriteFile(in(name), content, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	to := t.TempDir()
	taken := filepath.Join(to, "taken.db")
	if err := os.WriteFile(taken, []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	for _, c := range []struct {
		ctx      context.Context
		from, to string
		kind     error
		says     string
	}{
		{ctx, in("good.db"), taken, store.ErrConflict, "not written over"},
		{ctx, in("none.db"), filepath.Join(to, "b.db"), os.ErrNotExist, "none.db"},
		{ctx, in("good.db"), filepath.Join(to, "no-folder", "b.db"), os.ErrNotExist, "no-folder"},
		{ctx, in("old.db"), filepath.Join(to, "b.db"), store.ErrInvalid, "version 1"},
		{ctx, in("newer.db"), filepath.Join(to, "b.db"), store.ErrNewer, "version 99"},
		{ctx, in("text.db"), filepath.Join(to, "b.db"), nil, "not a proofload store"},
		{ctx, in("empty.db"), filepath.Join(to, "b.db"), store.ErrInvalid, "not a proofload store"},
		{ctx, in("flipped.db"), filepath.Join(to, "b.db"), store.ErrCorrupt, "flipped.db"},
		{ctx, in("tree.db"), filepath.Join(to, "b.db"), store.ErrCorrupt, "ledger's tree"},
		{cancelled, in("good.db"), filepath.Join(to, "b.db"), context.Canceled, "b.db"},
	} {
		if _, err := Backup(c.ctx, c.from, c.to); err == nil || c.kind != nil && !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("Backup of %s to %s gives %v; want %v, saying %q", c.from, c.to, err, c.kind, c.says)
		}
	}
	if rest, err := os.ReadDir(to); err != nil || len(rest) != 1 {
		t.Errorf("refused backups left %v, %v", rest, err)
	}
	if mine, err := os.ReadFile(taken); err != nil || string(mine) != "mine" {
		t.Errorf("the file in the way is now %q, %v", mine, err)
	}
	if size, err := os.Stat(in("empty.db")); err != nil || size.Size() != 0 {
		t.Errorf("copying an empty file wrote to it: %v, %v", size, err)
	}
	// It can be copied all the same.
	if _, err := Backup(ctx, in("good.db"), filepath.Join(to, "b.db")); err != nil {
		t.Error(err)
	}
}

// Every call to the file system that making a copy takes fails in turn. The copy then
// is not there, or is whole; the store is never the worse for it.
func TestBackupInputOutputErrors(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	d, h := newDisk(t), newHistory(t)
	path := filepath.Join(t.TempDir(), "test.db")
	s := openTest(t, path)
	for range 12 {
		if err := errors.Join(h.publish(ctx, s), h.write(ctx, s)); err != nil {
			t.Fatal(err)
		}
	}
	for k := 1; ; k++ {
		fired := ""
		d.failing(func(n int, c *call) error {
			if n == k {
				fired = c.what + " of " + c.file
				return syscall.EIO
			}
			return nil
		})
		to := filepath.Join(t.TempDir(), "backup.db")
		_, err := backup(ctx, path, to, d.name)
		d.failing(nil)
		if fired == "" {
			if k < 50 {
				t.Errorf("making a copy takes %d calls, too few to mean something", k-1)
			}
			break
		}
		rest, _ := os.ReadDir(filepath.Dir(to))
		if err != nil {
			if len(rest) > 0 {
				t.Errorf("call %d, %s, failed and left %v", k, fired, rest)
			}
			continue
		}
		if err := openAndVerify(ctx, to, usual(Options{}), h, h.acks); err != nil {
			t.Errorf("call %d, %s, failed without an error and left a copy with: %v", k, fired, err)
		}
	}
	if err := h.verify(ctx, s, h.acks); err != nil {
		t.Error(err)
	}
}

// A store is closed and opened while a backup reads it, and loses nothing.
func TestReopenWhileRead(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "test.db")
	h := newHistory(t)
	s := openTest(t, path)
	write := func(s *Store) {
		t.Helper()
		if err := errors.Join(h.publish(ctx, s), h.write(ctx, s)); err != nil {
			t.Fatal(err)
		}
	}
	write(s)
	c, err := dial(ctx, fileURI(path, "rw", ""), 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	tx := c.Begin()
	defer tx.Rollback()
	leaves := int64(0)
	count := func() int64 {
		if err := c.q(`SELECT count(*) FROM revision`).each(scanInt(&leaves)); err != nil {
			t.Fatal(err)
		}
		return leaves
	}
	before := count()
	for range 2 {
		write(s)
		if err := s.Close(); err != nil {
			t.Fatalf("Close while another process reads: %v", err)
		}
		if s, err = Open(ctx, path, Options{}); err != nil {
			t.Fatalf("Open while another process reads: %v", err)
		}
		if err := h.verify(ctx, s, h.acks); err != nil {
			t.Fatal(err)
		}
	}
	if after := count(); after != before {
		t.Errorf("who reads sees %d revisions after %d", after, before)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// A backup has its name only once its bytes are on stable storage, and is acknowledged
// only once its name is.
func TestBackupIsOnDisk(t *testing.T) {
	h := newHistory(t)
	path := filepath.Join(t.TempDir(), "test.db")
	s := openTest(t, path)
	if err := h.publish(t.Context(), s); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "backup.db")
	var synced []string
	real := toDisk
	defer func() { toDisk = real }()
	toDisk = func(f *os.File) error {
		info, err := f.Stat()
		if err != nil {
			return err
		}
		_, placed := os.Lstat(to)
		switch dir := filepath.Dir(f.Name()) == filepath.Dir(to); {
		case info.IsDir() && f.Name() == filepath.Dir(to):
			synced = append(synced, fmt.Sprintf("folder, placed %t", placed == nil))
		case dir:
			synced = append(synced, fmt.Sprintf("file, placed %t", placed == nil))
		}
		return real(f)
	}
	if _, err := Backup(t.Context(), path, to); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(synced, "; "); !strings.HasSuffix(got, "file, placed false; folder, placed true") {
		t.Errorf("synced are %q", got)
	}
	failed := errors.New("the disk is gone")
	for i := range synced {
		n := 0
		toDisk = func(f *os.File) error {
			if n++; n-1 == i {
				return failed
			}
			return real(f)
		}
		if _, err := Backup(t.Context(), path, filepath.Join(t.TempDir(), "backup.db")); err == nil {
			t.Errorf("a backup whose sync %d fails is acknowledged", i)
		}
	}
}
