package sqlite

import (
	"errors"
	"flag"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"proofload/server/store"
)

var flips = flag.Int("flips", 60, "single-bit flips to try on a store's file, and on a backup's")

// A single bit that flips in the file, or in a backup of it, is found, or lies where
// nothing is. Either way no read ever gives something else than was published, and no
// backup is made of what is damaged.
func TestBitFlips(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	d, h := newDisk(t), newHistory(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "test.db")
	set := d.settings()
	set.tail = 8
	s, err := open(ctx, path, set)
	if err != nil {
		t.Fatal(err)
	}
	for range 60 {
		if err := errors.Join(h.publish(ctx, s), h.write(ctx, s)); err != nil {
			t.Fatal(err)
		}
	}
	backup := filepath.Join(dir, "backup.db")
	if _, err := Backup(ctx, path, backup); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for _, file := range []string{path, backup} {
		good, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		index, err := os.ReadFile(file + pagesEnd)
		if err != nil && file == path {
			t.Fatal(err)
		}
		found := 0
		for i := range *flips {
			bit := r.IntN(8 * len(good))
			if i < 16 {
				bit = r.IntN(8 * 100) // the file's header is the most delicate
			}
			bad := append([]byte(nil), good...)
			bad[bit/8] ^= 1 << (bit % 8)
			if err := os.WriteFile(file, bad, 0o666); err != nil {
				t.Fatal(err)
			}
			if err := os.RemoveAll(file + pagesEnd); err != nil {
				t.Fatal(err)
			}
			if file == path {
				if err := os.WriteFile(file+pagesEnd, index, 0o666); err != nil {
					t.Fatal(err)
				}
			}
			again := filepath.Join(dir, "again.db")
			_, copying := Backup(ctx, file, again)
			if copying == nil {
				if err := openAndVerify(ctx, again, set, h, h.acks); err != nil {
					t.Errorf("bit %d of byte %d flipped: it is backed up, with: %v", bit%8, bit/8, err)
				}
			} else if !errors.Is(copying, store.ErrCorrupt) && !errors.Is(copying, store.ErrInvalid) && !errors.Is(copying, store.ErrNewer) && !strings.Contains(copying.Error(), "not a proofload store") {
				t.Errorf("bit %d of byte %d flipped: backing it up gives %v", bit%8, bit/8, copying)
			}
			if err := os.RemoveAll(again); err != nil {
				t.Fatal(err)
			}
			switch err := openAndVerify(ctx, file, set, h, h.acks); {
			case err == nil:
			case errors.Is(err, store.ErrCorrupt), strings.Contains(err.Error(), "not a proofload store"):
				found++
			default:
				t.Errorf("bit %d of byte %d flipped: %v", bit%8, bit/8, err)
			}
		}
		if found < *flips*9/10 {
			t.Errorf("%s: %d of %d flips were found; in a file without free pages nearly all should be", filepath.Base(file), found, *flips)
		}
		t.Logf("%s: %d of %d flips found, the rest changed nothing", filepath.Base(file), found, *flips)
	}
}

// A file system that is really full, where the test may make one: the store refuses,
// reads on, and writes again once there is space. Where it may not, TestDiskFull alone
// shows the same with a file system that says so.
func TestFileSystemFull(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", dir).CombinedOutput(); err != nil {
		t.Logf("no file system of 1 MiB can be made here (%v: %s)", err, out)
		return
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("umount: %v: %s", err, out)
		}
	})
	path, ballast := filepath.Join(dir, "test.db"), filepath.Join(dir, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 300<<10), 0o666); err != nil {
		t.Fatal(err)
	}
	h := newHistory(t)
	set := usual(Options{})
	set.tail, set.checkpoint = 8, 24
	s := openSettings(t, path, set)
	fill := func() {
		t.Helper()
		for refused := 0; refused < 3; {
			err := errors.Join(h.publish(ctx, s), h.write(ctx, s))
			if err == nil {
				continue
			}
			if refused++; !errors.Is(err, store.ErrFull) {
				t.Fatalf("writing to a full file system gives %v, want %v", err, store.ErrFull)
			}
			if err := h.verify(ctx, s, h.acks); err != nil {
				t.Fatalf("reading from a full file system: %v", err)
			}
		}
		if _, err := Backup(ctx, path, filepath.Join(dir, "backup.db")); !errors.Is(err, store.ErrFull) {
			t.Errorf("Backup to a full file system gives %v, want %v", err, store.ErrFull)
		}
	}
	fill()
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(h.publish(ctx, s), h.write(ctx, s)); err != nil {
		t.Fatalf("writing when there is space again: %v", err)
	}
	fill()
	if err := s.Close(); err != nil {
		t.Errorf("Close on a full file system: %v", err)
	}
	// Its file alone, elsewhere, with the log beside it, has everything.
	elsewhere := t.TempDir()
	files, err := readFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(elsewhere, name), content, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := openAndVerify(ctx, filepath.Join(elsewhere, "test.db"), usual(Options{}), h, h.acks); err != nil {
		t.Errorf("opened where there is space: %v", err)
	}
}
