package postgres

import (
	"context"
	"errors"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
)

// The database is stopped as a crash stops it, again and again while two servers
// publish, and comes back a moment later. No publication that was acknowledged is
// lost, none is there twice or by halves, and the servers go on by themselves: none
// of their callers sees an error.
func TestDatabaseCrashes(t *testing.T) {
	t.Parallel()
	server := pgtest.Own(t, false)
	address := server.Address()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var mu sync.Mutex
	acknowledged := map[[2]int64]int64{}
	var wg sync.WaitGroup
	for n := range int64(2) {
		s := openSettings(t, address, usual(Options{Patience: 60 * time.Second}))
		wg.Go(func() {
			if err := publishAlways(ctx, s, 10*n, func(w, number, at int64) {
				mu.Lock()
				defer mu.Unlock()
				acknowledged[[2]int64{w, number}] = at
			}); err != nil {
				t.Errorf("publishing while the database comes and goes: %v", err)
			}
		})
		wg.Go(func() { // a reader of the same server
			for ctx.Err() == nil {
				head, err := s.Head(ctx)
				if err == nil && head.Position > 0 {
					_, err = s.Log(ctx, head.Position-1, head.Position, 10)
				}
				if err != nil && !errors.Is(err, context.Canceled) {
					t.Errorf("reading while the database comes and goes: %v", err)
					return
				}
				time.Sleep(time.Millisecond)
			}
		})
	}
	count := func() int {
		mu.Lock()
		defer mu.Unlock()
		return len(acknowledged)
	}
	r := rand.New(rand.NewPCG(5, 6))
	for cycle := range *cycles {
		for before := count(); count() < before+3 && !t.Failed(); {
			time.Sleep(time.Millisecond)
		}
		time.Sleep(rand.N(50 * time.Millisecond))
		how := pgtest.Immediate
		if r.IntN(4) == 0 {
			how = pgtest.Fast
		}
		if err := server.Stop(how); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(r.IntN(100)) * time.Millisecond)
		if err := server.Run(); err != nil {
			t.Fatalf("cycle %d: %v\n%s", cycle+1, err, server.Log())
		}
	}
	for before := count(); count() < before+3 && !t.Failed(); {
		time.Sleep(time.Millisecond)
	}
	cancel()
	wg.Wait()
	s := openTest(t, address)
	verifyAcknowledged(t, s, acknowledged)
	head, err := s.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	// Those under way at the end may be there although nobody was told.
	if extra := head.Position - int64(len(acknowledged)); extra < 0 || extra > 2*childWriters {
		t.Errorf("%d positions for %d acknowledged publications", head.Position, len(acknowledged))
	}
	t.Logf("%d publications acknowledged in %d crashes, none lost or doubled", len(acknowledged), *cycles)
}

// A call does not wait for ever for a database that stays away, and one with a deadline
// no longer than that; when the database is back the store works on.
func TestDatabaseAway(t *testing.T) {
	t.Parallel()
	server := pgtest.Own(t, false)
	s := openSettings(t, server.Address(), usual(Options{Patience: 200 * time.Millisecond}))
	scenario(t, s)
	if err := server.Stop(pgtest.Fast); err != nil {
		t.Fatal(err)
	}
	third := storetest.Publication(3, storetest.Put(t, storetest.Bolt(3, 60), 0))
	for what, call := range map[string]func(context.Context) error{
		"Publish": func(ctx context.Context) error { _, err := s.Publish(ctx, third); return err },
		"Head":    func(ctx context.Context) error { _, err := s.Head(ctx); return err },
		"Get": func(ctx context.Context) error {
			_, err := s.Get(ctx, storetest.Bolt(1, 0).Name(), 2)
			return err
		},
		"WriteNotes": func(ctx context.Context) error {
			return s.WriteNotes(ctx, []store.NoteWrite{{Space: "a", Key: "b", Body: []byte{}, Time: storetest.Epoch}})
		},
	} {
		begin := time.Now()
		if err := call(t.Context()); err == nil || isContract(err) || time.Since(begin) > 10*time.Second {
			t.Errorf("%s gives %v after %s", what, err, time.Since(begin))
		}
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
		if err := call(ctx); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%s with a deadline gives %v", what, err)
		}
		cancel()
	}
	if err := server.Run(); err != nil {
		t.Fatal(err)
	}
	verifyScenario(t, s)
	if at, err := s.Publish(t.Context(), third); at != 3 || err != nil {
		t.Errorf("Publish when the database is back gives %d, %v", at, err)
	}
}
