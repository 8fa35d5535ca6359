package postgres

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// Anyone who waits for a position hears of what another server publishes, by a hint, and
// without hints by looking from time to time.
func TestAwaitOther(t *testing.T) {
	t.Parallel()
	for name, set := range map[string]settings{
		"hints":    usual(Options{Poll: time.Hour}),
		"no hints": func() settings { s := usual(Options{Poll: 20 * time.Millisecond}); s.quiet = true; return s }(),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			address := pgtest.Shared(t).Address()
			a, b := openSettings(t, address, set), openSettings(t, address, set)
			for n := int64(1); n <= 5; n++ {
				heard := make(chan error, 1)
				go func() {
					head, err := b.Await(t.Context(), n)
					if err == nil && head.Position < n {
						err = fmt.Errorf("Await of %d gives %+v", n, head)
					}
					heard <- err
				}()
				if n%2 == 0 {
					time.Sleep(30 * time.Millisecond) // so that it waits already
				}
				if _, err := a.Publish(t.Context(), storetest.Publication(int(n), storetest.Put(t, storetest.Bolt(int(n), 60), 0))); err != nil {
					t.Fatal(err)
				}
				select {
				case err := <-heard:
					if err != nil {
						t.Fatal(err)
					}
				case <-time.After(10 * time.Second):
					t.Fatalf("position %d was published and nobody told", n)
				}
				if r, err := b.Get(t.Context(), storetest.Bolt(int(n), 0).Name(), n); err != nil || r.Position != n {
					t.Errorf("the other server reads %+v, %v", r, err)
				}
			}
		})
	}
}

// A listener whose connection is cut makes up for what it missed.
func TestHintsLost(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	set := usual(Options{Poll: time.Hour})
	a, b := openSettings(t, address, set), openSettings(t, address, set)
	heard := make(chan error, 1)
	go func() { _, err := b.Await(t.Context(), 2); heard <- err }()
	admin, err := pgx.Connect(t.Context(), pgtest.OwnerAddress(address))
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close(t.Context())
	for n := 1; n <= 2; n++ {
		cut := int64(0)
		for cut == 0 && n == 2 {
			// The sessions that listen for this schema's store are not told apart from
			// others; cutting those of other tests is one more test of them.
			tag, err := admin.Exec(t.Context(), `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE query LIKE 'LISTEN%' AND pid <> pg_backend_pid()`)
			if err != nil {
				t.Fatal(err)
			}
			cut = tag.RowsAffected()
			time.Sleep(time.Millisecond)
		}
		if _, err := a.Publish(t.Context(), storetest.Publication(n, storetest.Put(t, storetest.Bolt(n, 60), 0))); err != nil {
			t.Fatal(err)
		}
	}
	select {
	case err := <-heard:
		if err != nil {
			t.Fatal(err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("what was published while the listener was cut off was never noticed")
	}
}

// Three servers publish to one store, to records of their own and to shared ones, while
// a reader follows the log by what it has seen last. It misses nothing, nothing is lost
// or doubled, and the ledger is one.
func TestThreeServers(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	reader := openTest(t, address)
	const servers, writers = 3, 4
	each := *cycles * 3
	var wg sync.WaitGroup
	var conflicts atomic.Int64
	for n := range servers {
		s := openTest(t, address)
		for w := range writers {
			wg.Go(func() {
				for i := range each {
					own, common := storetest.Put(t, storetest.Bolt(1000*(10*n+w+1)+i, 60), 0), storetest.Bolt(i%2, 1+100*n+i)
					for {
						base, err := numberOf(t.Context(), s, common)
						if err == nil {
							_, err = s.Publish(t.Context(), storetest.Publication(i, own, storetest.Put(t, common, base)))
						}
						if errors.Is(err, store.ErrConflict) {
							conflicts.Add(1)
							continue
						}
						if err != nil {
							t.Error(err)
							return
						}
						break
					}
				}
			})
		}
	}
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	last, revisions := int64(0), int64(0)
	for stop := false; ; {
		select {
		case <-done:
			stop = true
		default:
		}
		before := last
		head, err := reader.Head(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		rs, err := reader.Log(t.Context(), last, head.Position, 7)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rs {
			if r.Leaf != revisions || r.Position != last && r.Position != last+1 {
				t.Fatalf("behind position %d and %d revisions comes leaf %d of position %d", last, revisions, r.Leaf, r.Position)
			}
			last, revisions = r.Position, revisions+1
		}
		if stop && last == before {
			break
		}
	}
	if want := int64(servers * writers * each); last != want || revisions != 2*want {
		t.Errorf("the reader has seen %d positions and %d revisions, want %d and %d", last, revisions, want, 2*want)
	}
	if err := reader.Check(t.Context()); err != nil {
		t.Error(err)
	}
	t.Logf("%d publications, %d conflicts of shared records", last, conflicts.Load())
}

func numberOf(ctx context.Context, s *Store, r specdata.Record) (int64, error) {
	head, err := s.Head(ctx)
	if err != nil {
		return 0, err
	}
	old, err := s.Get(ctx, r.Name(), head.Position)
	if errors.Is(err, store.ErrNotFound) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return old.Number, nil
}

// The counter that is changed last misses nothing for a reader that continues behind
// the last number it has seen. That a sequence does miss some is what shows that this
// very test would notice. (PostgreSQL's manual, "Sequence Manipulation Functions":
// nextval is never rolled back, and numbers become visible in another order.)
func TestCounterNotSequence(t *testing.T) {
	t.Parallel()
	server := pgtest.Shared(t)
	address := pgtest.OwnerAddress(server.Address()) // sequences are for the owner only
	admin, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close(t.Context())
	schema := admin.Config().RuntimeParams["search_path"]
	if _, err := admin.Exec(t.Context(), `CREATE SCHEMA `+schema+`; CREATE TABLE head (id BIGINT PRIMARY KEY, n BIGINT); INSERT INTO head VALUES (1, 0);
		CREATE TABLE counted (n BIGINT PRIMARY KEY, who TEXT); CREATE TABLE sequenced (n BIGSERIAL PRIMARY KEY, who TEXT)`); err != nil {
		t.Fatal(err)
	}
	counter := lostRows(t, address, "counted", `WITH h AS (UPDATE head SET n = n + 1 WHERE id = 1 RETURNING n) INSERT INTO counted SELECT n, $1 FROM h`, true)
	sequence := lostRows(t, address, "sequenced", `INSERT INTO sequenced (who) VALUES ($1)`, false)
	if counter.lost != 0 || counter.holes != 0 {
		t.Errorf("a counter that is changed last: %d of %d rows never seen, %d holes", counter.lost, counter.rows, counter.holes)
	}
	if sequence.lost == 0 {
		t.Errorf("a sequence: all %d rows were seen; the test cannot tell the two apart", sequence.rows)
	}
	t.Logf("counter: %+v; sequence: %+v", counter, sequence)
}

type seen struct{ rows, lost, holes int }

// lostRows lets writers add rows in transactions that take their time, and a reader
// follow them. number is the statement that takes the number: at the end of the
// transaction's work, or at its beginning, as an INSERT of a default does.
func lostRows(t *testing.T, address, table, number string, last bool) (s seen) {
	t.Helper()
	const writers = 6
	ctx, cancel := context.WithTimeout(t.Context(), time.Duration(*cycles)*150*time.Millisecond)
	defer cancel()
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			c, err := pgx.Connect(t.Context(), address)
			if err != nil {
				t.Error(err)
				return
			}
			defer c.Close(t.Context())
			for i := 0; ctx.Err() == nil; i++ {
				err := pgx.BeginFunc(t.Context(), c, func(tx pgx.Tx) error {
					work := func() error { time.Sleep(rand.N(3 * time.Millisecond)); return nil }
					take := func() error { _, err := tx.Exec(t.Context(), number, fmt.Sprint(w, " ", i)); return err }
					steps := []func() error{take, work}
					if last {
						steps = []func() error{work, take}
					}
					for _, step := range steps {
						if err := step(); err != nil {
							return err
						}
					}
					if i%20 == 19 {
						return errGiveUp
					}
					return nil
				})
				if err != nil && !errors.Is(err, errGiveUp) {
					t.Error(err)
					return
				}
			}
		})
	}
	c, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(t.Context())
	got, at := map[int64]bool{}, int64(0)
	follow := func() {
		rows, _ := c.Query(t.Context(), `SELECT n FROM `+table+` WHERE n > $1 ORDER BY n`, at)
		var n int64
		if _, err := pgx.ForEachRow(rows, []any{&n}, func() error { got[n], at = true, n; return nil }); err != nil {
			t.Error(err)
		}
	}
	for ctx.Err() == nil {
		follow()
	}
	wg.Wait()
	follow()
	rows, _ := c.Query(t.Context(), `SELECT n FROM `+table+` ORDER BY n`)
	var n, before int64
	if _, err := pgx.ForEachRow(rows, []any{&n}, func() error {
		s.rows++
		if !got[n] {
			s.lost++
		}
		if n != before+1 {
			s.holes++
		}
		before = n
		return nil
	}); err != nil {
		t.Error(err)
	}
	return s
}

var errGiveUp = errors.New("given up")
