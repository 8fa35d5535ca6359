package guard_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/guard"
	"proofload/server/store/sqlite"
	"proofload/server/store/storetest"
)

func openFile(t *testing.T, path string) store.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func publish(t *testing.T, s store.Store, n, torque int) {
	t.Helper()
	p := storetest.Publication(n, storetest.Put(t, storetest.Bolt(1, torque), int64(n-1)))
	if _, err := s.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
}

// quiet are options of a guard that looks only when asked.
func quiet(file string, now time.Time) guard.Options {
	return guard.Options{File: file, Every: time.Hour, Scrub: -1, Now: func() time.Time { return now }}
}

var today = storetest.Epoch.Add(24 * time.Hour)

// swap is a store that a test exchanges under a guard, as a failover does.
type swap struct{ store.Store }

// The contract holds through a guard.
func TestContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) store.Store {
		o := quiet(filepath.Join(t.TempDir(), "mark"), time.Now().Add(100*365*24*time.Hour))
		o.ClockChecked = true
		s, err := guard.Open(t.Context(), openFile(t, filepath.Join(t.TempDir(), "a.db")), o)
		if err != nil {
			t.Fatal(err)
		}
		return s
	})
}

// A history that goes back or forks under a guard is not served, read or written, and
// is served again when the right one is back.
func TestSwapped(t *testing.T) {
	for what, other := range map[string]func(*testing.T, store.Store){
		"behind":                       func(t *testing.T, s store.Store) { publish(t, s, 1, 60); publish(t, s, 2, 61) },
		"empty":                        func(*testing.T, store.Store) {},
		"another at the same position": func(t *testing.T, s store.Store) { publish(t, s, 1, 60); publish(t, s, 2, 61); publish(t, s, 3, 99) },
		"another that is ahead": func(t *testing.T, s store.Store) {
			for n := 1; n <= 6; n++ {
				publish(t, s, n, 70+n)
			}
		},
		"a fork that is ahead": func(t *testing.T, s store.Store) {
			publish(t, s, 1, 60)
			publish(t, s, 2, 61)
			for n := 3; n <= 6; n++ {
				publish(t, s, n, 70+n)
			}
		},
	} {
		t.Run(what, func(t *testing.T) {
			ctx := t.Context()
			right := openFile(t, filepath.Join(t.TempDir(), "a.db"))
			wrong := openFile(t, filepath.Join(t.TempDir(), "b.db"))
			other(t, wrong)
			under := &swap{right}
			o := quiet(filepath.Join(t.TempDir(), "mark"), today)
			o.Every = 10 * time.Millisecond
			g, err := guard.Open(ctx, under, o)
			if err != nil {
				t.Fatal(err)
			}
			for n := 1; n <= 3; n++ {
				publish(t, g, n, 59+n)
			}
			if head, err := g.Head(ctx); err != nil || head.Position != 3 {
				t.Fatal(head, err)
			}
			waiting := make(chan error, 1)
			go func() { _, err := g.Await(context.Background(), 9); waiting <- err }()
			under.Store = wrong
			until(t, func() bool { return g.Err() != nil })
			name := storetest.Bolt(1, 1).Name()
			for what, call := range map[string]func() error{
				"Head":    func() error { _, err := g.Head(ctx); return err },
				"Get":     func() error { _, err := g.Get(ctx, name, 1); return err },
				"GetNote": func() error { _, err := g.GetNote(ctx, "s", "k"); return err },
				"Resolve": func() error { _, err := g.Resolve(ctx, store.AtPosition(1)); return err },
				"Publish": func() error {
					_, err := g.Publish(ctx, storetest.Publication(9, storetest.Put(t, storetest.Bolt(9, 9), 0)))
					return err
				},
				"WriteNotes": func() error {
					return g.WriteNotes(ctx, []store.NoteWrite{{Space: "s", Key: "k", Body: []byte("x"), Time: today}})
				},
				"Await": func() error { return <-waiting },
			} {
				if err := call(); !errors.Is(err, store.ErrWentBack) {
					t.Errorf("%s gives %v, want %v", what, err, store.ErrWentBack)
				}
			}
			under.Store = right
			until(t, func() bool { return g.Err() == nil })
			if r, err := g.Get(ctx, name, 3); err != nil || r.Number != 3 {
				t.Errorf("the right one again: %v, %v", r, err)
			}
			if err := errors.Join(g.Close(), wrong.Close()); err != nil {
				t.Error(err)
			}
		})
	}
}

func until(t *testing.T, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !holds(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("it does not happen")
		}
	}
}

// A store that is behind the mark of its file, or of another history, is not opened; one
// for which a restore was declared is.
func TestMark(t *testing.T) {
	ctx := t.Context()
	folder := t.TempDir()
	file, mark, old := filepath.Join(folder, "a.db"), filepath.Join(folder, "mark"), filepath.Join(folder, "old.db")
	g, err := guard.Open(ctx, openFile(t, file), quiet(mark, today))
	if err != nil {
		t.Fatal(err)
	}
	publish(t, g, 1, 60)
	if _, err := sqlite.Backup(ctx, file, old); err != nil {
		t.Fatal(err)
	}
	publish(t, g, 2, 61)
	if _, err := g.Head(ctx); err != nil {
		t.Fatal(err)
	}
	if err := g.Close(); err != nil {
		t.Fatal(err)
	}
	kept, err := guard.ReadFile(mark)
	if err != nil || kept.Position != 2 || kept.Epoch != 1 {
		t.Fatalf("kept: %+v, %v", kept, err)
	}
	if info, err := os.Stat(mark); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mark: %v, %v", info.Mode(), err)
	}
	if g, err = guard.Open(ctx, openFile(t, file), quiet(mark, today)); err != nil {
		t.Fatalf("the same again: %v", err)
	}
	g.Close()
	forked := filepath.Join(folder, "fork.db")
	if _, err := sqlite.Backup(ctx, old, forked); err != nil {
		t.Fatal(err)
	}
	f := openFile(t, forked)
	publish(t, f, 2, 99)
	publish(t, f, 3, 98)
	f.Close()
	for _, wrong := range []string{old, forked, filepath.Join(folder, "new.db")} {
		if _, err := guard.Open(ctx, openFile(t, wrong), quiet(mark, today)); !errors.Is(err, store.ErrWentBack) || !strings.Contains(err.Error(), "proofload restore") {
			t.Errorf("%s: %v, want %v", filepath.Base(wrong), err, store.ErrWentBack)
		}
	}
	s := openFile(t, old)
	if err := guard.WriteEpoch(ctx, s, store.Epoch{Number: 2, Position: 1, Lost: 2, Time: today}); err != nil {
		t.Fatal(err)
	}
	if g, err = guard.Open(ctx, s, quiet(mark, today)); err != nil {
		t.Fatalf("declared: %v", err)
	}
	if e := g.Epoch(); e.Number != 2 || e.Position != 1 || e.Lost != 2 {
		t.Errorf("epoch %+v", e)
	}
	g.Close()
	if _, err := guard.Open(ctx, openFile(t, file), quiet(mark, today)); !errors.Is(err, store.ErrWentBack) {
		t.Errorf("the one before the restore: %v, want %v", err, store.ErrWentBack)
	}
	if err := os.WriteFile(mark, []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := guard.Open(ctx, openFile(t, old), quiet(mark, today)); !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("a mark that cannot be read: %v", err)
	}
}

// A clock that runs ahead publishes nothing.
func TestClock(t *testing.T) {
	ctx := t.Context()
	file := filepath.Join(t.TempDir(), "a.db")
	now := storetest.Epoch.Add(time.Hour)
	o := quiet("", now)
	o.Now = func() time.Time { return now }
	g, err := guard.Open(ctx, openFile(t, file), o)
	if err != nil {
		t.Fatal(err)
	}
	p := storetest.Publication(1, storetest.Put(t, storetest.Bolt(1, 60), 0))
	p.Time = now.Add(time.Hour)
	if _, err := g.Publish(ctx, p); !errors.Is(err, store.ErrInvalid) || !strings.Contains(err.Error(), "in the future") {
		t.Errorf("an hour ahead of the clock: %v", err)
	}
	p.Time = now
	if _, err := g.Publish(ctx, p); err != nil {
		t.Errorf("on time: %v", err)
	}
	now = now.Add(time.Hour) // no steady clock moved with it: it was set
	p = storetest.Publication(2, storetest.Put(t, storetest.Bolt(1, 61), 1))
	p.Time = now
	if _, err := g.Publish(ctx, p); !errors.Is(err, store.ErrInvalid) || !strings.Contains(err.Error(), "set 1h0m0s forward") {
		t.Errorf("after the clock was set: %v", err)
	}
	g.Close()
	p.Time = now
	now = now.Add(73 * 365 * 24 * time.Hour)
	if g, err = guard.Open(ctx, openFile(t, file), o); err != nil {
		t.Fatal(err)
	}
	p.Time = now
	if _, err := g.Publish(ctx, p); !errors.Is(err, store.ErrInvalid) || !strings.Contains(err.Error(), "--clock-checked") {
		t.Errorf("73 years later: %v", err)
	}
	g.Close()
	o.ClockChecked = true
	if g, err = guard.Open(ctx, openFile(t, file), o); err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	if _, err := g.Publish(ctx, p); err != nil {
		t.Errorf("73 years later, as somebody says: %v", err)
	}
}

// What a scrub finds is told until one finds nothing.
func TestScrub(t *testing.T) {
	g, err := guard.Open(t.Context(), &broken{Store: openFile(t, filepath.Join(t.TempDir(), "a.db"))}, quiet("", today))
	if err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	b := g.Store.(*broken)
	b.err = store.ErrCorrupt
	if g.Scrub(t.Context()); !errors.Is(g.Err(), store.ErrCorrupt) {
		t.Errorf("Err gives %v", g.Err())
	}
	if _, err := g.Well().Head(t.Context()); !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("health sees %v", err)
	}
	if _, err := g.Head(t.Context()); err != nil {
		t.Errorf("reads go on, but: %v", err)
	}
	b.err = nil
	if g.Scrub(t.Context()); g.Err() != nil {
		t.Errorf("Err gives %v", g.Err())
	}
}

type broken struct {
	store.Store
	err error
}

func (b *broken) Check(context.Context) error { return b.err }
