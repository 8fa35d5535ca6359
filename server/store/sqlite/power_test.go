package sqlite

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
)

var crashPoints = flag.Int("crash-points", 200, "power failures to simulate")

// A power failure may drop, tear at 512 bytes and reorder whatever was written since
// the last sync of its file. Nothing acknowledged may be lost.
func TestPowerFailure(t *testing.T) {
	t.Parallel()
	d, h := recordHistory(t, "FULL", 0, 12)
	lost := 0
	for i := range *crashPoints {
		if err := crash(t, d, h, 0, len(d.calls), uint64(i)); err != nil {
			t.Errorf("power failure %d: %v", i, err)
			if lost++; lost == 5 {
				t.Fatal("and perhaps more")
			}
		}
	}
}

// The simulation is worth something only if it catches a store that syncs too little.
func TestPowerFailureCatchesNormal(t *testing.T) {
	t.Parallel()
	d, h := recordHistory(t, "NORMAL", 0, 12)
	for i := range 200 {
		if err := crash(t, d, h, 0, len(d.calls), uint64(i)); err != nil && strings.Contains(err.Error(), "acknowledged and lost") {
			return
		}
	}
	t.Error("200 power failures lost nothing of a store with synchronous=NORMAL")
}

// A sync that failed may have dropped what it could not write, though it reads back
// until the power fails. A store that is opened again must not count on it.
func TestPowerFailureAfterFailedSync(t *testing.T) {
	t.Parallel()
	for failed := 1; ; failed++ {
		d, h := recordHistory(t, "FULL", failed, 4)
		fired := slices.IndexFunc(d.calls, func(c call) bool { return c.failed })
		if fired < 0 {
			if failed < 10 {
				t.Fatalf("the history has %d syncs, too few to mean something", failed-1)
			}
			return
		}
		// The calls that follow are those of opening again and of what comes first.
		for i := range max(4, *crashPoints/50) {
			if err := crash(t, d, h, fired, min(fired+24, len(d.calls)), uint64(1000*failed+i)); err != nil {
				t.Fatalf("failed sync %d, power failure %d: %v", failed, i, err)
			}
		}
	}
}

// recordHistory runs a store over a recording disk: some publications, a restart, some
// more, with checkpoints and moves of the tail in between. Where failedSync is not 0,
// the sync of that number fails, and the store is opened again.
func recordHistory(t *testing.T, synchronous string, failedSync, publications int) (*disk, *history) {
	ctx := t.Context()
	d, h := newDisk(t), newHistory(t)
	d.record = true
	syncs := 0
	d.failing(func(_ int, c *call) error {
		if c.what == "sync" {
			if syncs++; syncs == failedSync {
				return syscall.EIO
			}
		}
		return nil
	})
	set := d.settings()
	set.synchronous, set.tail, set.checkpoint = synchronous, 6, 24
	path := filepath.Join(t.TempDir(), "test.db")
	for range 3 {
		s, err := open(ctx, path, set)
		for failedSync > 0 && err != nil { // the failing sync was one of opening
			if s, err = open(ctx, path, set); err != nil && syncs > failedSync {
				t.Fatal(err)
			}
		}
		if err != nil {
			t.Fatal(err)
		}
		if err := h.learn(ctx, s); err != nil {
			t.Fatal(err)
		}
		for range publications {
			if err := h.publish(ctx, s); err == nil {
				d.noteAcknowledged(len(h.tried))
			} else if failedSync == 0 {
				t.Fatal(err)
			}
			if err := h.write(ctx, s); err == nil {
				d.noteAcknowledged(-h.writes)
			} else if failedSync == 0 {
				t.Fatal(err)
			}
		}
		if err := s.Close(); err != nil && failedSync == 0 {
			t.Fatal(err)
		}
	}
	return d, h
}

// crash makes up what is on the disk after a power failure at a call between two,
// opens it and compares.
func crash(t *testing.T, d *disk, h *history, from, to int, seed uint64) error {
	r := rand.New(rand.NewPCG(seed, 7))
	at := from + 1 + r.IntN(to-from)
	dir, err := os.MkdirTemp(t.TempDir(), "crash")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	acknowledged := newAcks()
	for _, c := range d.calls[:at] {
		switch {
		case c.what != "note":
		case c.note > 0:
			acknowledged.published[c.note] = h.published[c.note]
		default:
			acknowledged.written[-c.note] = true
		}
	}
	for name, content := range afterPowerFailure(d.calls[:at], r) {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o666); err != nil {
			return err
		}
	}
	again := newDisk(t) // which does not really sync, so this is quick
	again.record = r.IntN(4) == 0
	set := again.settings()
	set.tail, set.checkpoint = 8, 24
	path := filepath.Join(dir, "test.db")
	before, err := readFolder(dir)
	if err != nil {
		return err
	}
	if err := openAndVerify(t.Context(), path, set, h, acknowledged); err != nil {
		return fmt.Errorf("at call %d of %d: %w", at, len(d.calls), err)
	}
	if !again.record {
		return nil
	}
	// Now and then the power fails again while the store recovers.
	var calls []call
	for name, content := range before {
		calls = append(calls, call{what: "open", file: name}, call{what: "sync-folder"}, call{what: "write", file: name, data: content}, call{what: "sync", file: name})
	}
	second := len(calls) + r.IntN(len(again.calls)+1)
	calls = append(calls, again.calls...)
	if err := errors.Join(os.RemoveAll(dir), os.Mkdir(dir, 0o777)); err != nil {
		return err
	}
	for name, content := range afterPowerFailure(calls[:second], r) {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o666); err != nil {
			return err
		}
	}
	again.record = false
	if err := openAndVerify(t.Context(), path, set, h, acknowledged); err != nil {
		return fmt.Errorf("at call %d of %d and again at call %d of the recovery: %w", at, len(d.calls), second, err)
	}
	return nil
}

func openAndVerify(ctx context.Context, path string, set settings, h *history, acknowledged acks) error {
	s, err := open(ctx, path, set)
	if err != nil {
		return err
	}
	if err := h.verify(ctx, s, acknowledged); err != nil {
		s.Close()
		return err
	}
	return s.Close()
}

func readFolder(dir string) (map[string][]byte, error) {
	files := map[string][]byte{}
	entries, err := os.ReadDir(dir)
	for _, e := range entries {
		if err == nil {
			files[e.Name()], err = os.ReadFile(filepath.Join(dir, e.Name()))
		}
	}
	return files, err
}

// afterPowerFailure returns the files after calls that end with the power. What was
// written to a file since its last good sync is there, is not, or is in part. A file
// that was deleted may be there again, and one made again under its name may not.
func afterPowerFailure(calls []call, r *rand.Rand) map[string][]byte {
	kind := r.IntN(4) // lose all, keep all, or by chance
	keep := func() bool { return kind == 1 || kind > 1 && r.IntN(2) == 0 }
	// safe[i] says that the next sync of the file that call i changed worked, or, for
	// calls that change the folder, the next sync of that.
	safe := make([]bool, len(calls))
	synced := map[string]bool{} // by file, "" is the folder
	for i := len(calls) - 1; i >= 0; i-- {
		switch c := calls[i]; c.what {
		case "sync", "sync-folder":
			synced[c.file] = !c.failed
		case "open":
			safe[i] = synced[""]
		case "delete":
			safe[i] = synced[""]
			synced[c.file] = false // what is synced later is another file
		default:
			safe[i] = synced[c.file]
		}
	}
	live := map[string]bool{}    // as a program sees it
	files := map[string][]byte{} // as it is on the disk
	lost := map[string]bool{}    // what goes to this name goes to a file that will not be found
	for i, c := range calls {
		if c.what == "open" && !live[c.file] {
			live[c.file] = true
			if lost[c.file] = !safe[i] && !keep(); !lost[c.file] {
				files[c.file] = []byte{}
			}
		}
		if c.what == "delete" {
			live[c.file] = false
			if safe[i] || keep() {
				delete(files, c.file)
			}
		}
		if lost[c.file] {
			continue
		}
		content := files[c.file]
		switch c.what {
		case "truncate":
			if safe[i] || keep() {
				files[c.file] = resize(content, c.at)
			}
		case "write":
			for from := 0; from < len(c.data); {
				// Sectors end at multiples of 512 in the file.
				to := min(len(c.data), from+512-int(c.at+int64(from))%512)
				if safe[i] || keep() {
					content = resize(content, max(int64(len(content)), c.at+int64(to)))
					copy(content[c.at+int64(from):], c.data[from:to])
					files[c.file] = content
				}
				from = to
			}
		}
	}
	return files
}

func resize(b []byte, size int64) []byte {
	if int64(len(b)) >= size {
		return b[:size:size]
	}
	return append(b, make([]byte, size-int64(len(b)))...)
}
