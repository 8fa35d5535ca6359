package sqlite

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
	"proofload/server/store/storetest"
)

// hold occupies the writer until the function it returns is called.
func hold(t *testing.T, s *Store) (release func()) {
	held, free := make(chan struct{}), make(chan struct{})
	done := make(chan error, 1)
	go func() {
		_, err := s.do(context.Background(), 1, func(*conn, *batch) (int64, bool, error) {
			close(held)
			<-free
			return 0, true, nil
		})
		done <- err
	}()
	<-held
	return func() {
		close(free)
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

// waiting starts calls and returns when all of them wait for the writer.
func waiting(t *testing.T, n int, call func(i int)) *sync.WaitGroup {
	var wg, started sync.WaitGroup
	started.Add(n)
	for i := range n {
		wg.Go(func() {
			started.Done()
			call(i)
		})
	}
	started.Wait()
	time.Sleep(20 * time.Millisecond) // from starting to waiting is a few microseconds
	return &wg
}

// Publications that wait share a transaction, and with it a sync; each has a position
// of its own.
func TestGroup(t *testing.T) {
	d := newDisk(t)
	s := openSettings(t, filepath.Join(t.TempDir(), "test.db"), d.settings())
	release := hold(t, s)
	syncs := 0
	d.failing(func(_ int, c *call) error {
		if c.what == "sync" {
			syncs++
		}
		return nil
	})
	const n = groupRequests
	at := make([]int64, n)
	wg := waiting(t, n, func(i int) {
		var err error
		if at[i], err = s.Publish(t.Context(), storetest.Publication(1, storetest.Put(t, storetest.Bolt(i, 60), 0))); err != nil {
			t.Error(err)
		}
	})
	release()
	wg.Wait()
	seen := map[int64]bool{}
	for _, p := range at {
		seen[p] = true
	}
	if len(seen) != n || s.head.Load().Position != n {
		t.Errorf("%d publications took %d positions, the head is at %d", n, len(seen), s.head.Load().Position)
	}
	// One for the log's first header, one for the group, one where a few came late.
	if syncs > 4 {
		t.Errorf("%d publications that waited together took %d syncs", n, syncs)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// Those in a group see what those before them did, and a refusal harms nobody else.
func TestGroupConflicts(t *testing.T) {
	s := openTest(t, filepath.Join(t.TempDir(), "test.db"))
	release := hold(t, s)
	const n = 20
	errs := make([]error, n)
	wg := waiting(t, n, func(i int) {
		_, errs[i] = s.Publish(t.Context(), storetest.Publication(1, storetest.Put(t, storetest.Bolt(1, i+1), 0)))
	})
	release()
	wg.Wait()
	published := 0
	for _, err := range errs {
		if err == nil {
			published++
		} else if !errors.Is(err, store.ErrConflict) {
			t.Error(err)
		}
	}
	if published != 1 || s.head.Load().Position != 1 {
		t.Errorf("of %d publications of one record %d succeeded, the head is at %d", n, published, s.head.Load().Position)
	}
}

// One that fails after it wrote, or whose caller went away, takes nobody with it.
func TestGroupSpoiler(t *testing.T) {
	s := openTest(t, filepath.Join(t.TempDir(), "test.db"))
	release := hold(t, s)
	const n = 12
	broken := errors.New("something broke half way")
	ctx, cancel := context.WithCancel(t.Context())
	errs := make([]error, n)
	wg := waiting(t, n, func(i int) {
		switch i % 4 {
		case 0:
			_, errs[i] = s.do(t.Context(), 1, func(c *conn, b *batch) (int64, bool, error) {
				b.head.Position += 100
				b.entries = append(b.entries, newEntry("fasteners/ghost", 1, 1, 1, false, nil))
				return 0, false, errors.Join(c.Exec(`INSERT INTO term VALUES ('place=nowhere', 'fasteners/ghost', 1)`), broken)
			})
		case 1:
			_, errs[i] = s.Publish(ctx, storetest.Publication(1, storetest.Put(t, storetest.Bolt(i, 60), 0)))
		case 2:
			_, errs[i] = s.do(t.Context(), 1, func(c *conn, b *batch) (int64, bool, error) {
				return 0, false, c.Exec(`INSERT INTO derived VALUES (1, 0, 0)`)
			})
		default:
			_, errs[i] = s.Publish(t.Context(), storetest.Publication(1, storetest.Put(t, storetest.Bolt(i, 60), 0)))
		}
	})
	cancel()
	release()
	wg.Wait()
	for i, err := range errs {
		if want := []error{broken, context.Canceled, sqlite3.CONSTRAINT, nil}[i%4]; !errors.Is(err, want) {
			t.Errorf("request %d gives %v, want %v", i, err, want)
		}
	}
	if head := s.head.Load(); head.Position != n/4 || head.Revisions != n/4 {
		t.Errorf("head is %+v, want %d positions", head, n/4)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// A caller that waits for its turn too long is informed, and has published nothing.
func TestPublishWaitsForItsTurn(t *testing.T) {
	s := openTest(t, filepath.Join(t.TempDir(), "test.db"))
	release := hold(t, s)
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Millisecond)
	defer cancel()
	if _, err := s.Publish(ctx, storetest.Publication(1, storetest.Put(t, storetest.Bolt(1, 60), 0))); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("Publish behind a busy writer gives %v", err)
	}
	release()
	if head := s.head.Load(); head.Position != 0 {
		t.Errorf("head is %+v", head)
	}
}

// More readers than connections wait for one, and for no longer than they want to.
func TestReadersWait(t *testing.T) {
	s := openSettings(t, filepath.Join(t.TempDir(), "test.db"), usual(Options{Readers: 2}))
	busy, free := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			if err := s.read(t.Context(), func(*conn) error {
				busy <- struct{}{}
				<-free
				return nil
			}); err != nil {
				t.Error(err)
			}
		})
	}
	<-busy
	<-busy
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Millisecond)
	defer cancel()
	if _, err := s.Releases(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a read with no connection free gives %v", err)
	}
	close(free)
	wg.Wait()
	if _, err := s.Releases(t.Context()); err != nil {
		t.Error(err)
	}
}

// A long read ends with its context, and its connection is good for the next.
func TestReadEndsWithContext(t *testing.T) {
	s := openSettings(t, filepath.Join(t.TempDir(), "test.db"), usual(Options{Readers: 1}))
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	err := s.read(ctx, func(c *conn) error {
		n := int64(0)
		return c.q(`WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT max(i) FROM n`).each(scanInt(&n))
	})
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a read without end gives %v", err)
	}
	if _, err := s.Releases(t.Context()); err != nil {
		t.Error(err)
	}
}

// An import of more than a share is moved into the file a share at a time, while
// others publish and every answer stays right; so it is after an interruption.
func TestLongTail(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "test.db")
	const n = 2*tailShare + 100
	var changes []store.Change
	for i := range n {
		changes = append(changes, storetest.Put(t, storetest.Bolt(i, 60), 0))
	}
	s := openTest(t, path)
	if _, err := s.Publish(ctx, storetest.Publication(1, changes...)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Publish(ctx, storetest.Publication(2, storetest.Put(t, storetest.Bolt(5, 61), 1))); err != nil {
		t.Fatal(err)
	}
	check := func(s *Store) {
		t.Helper()
		q := store.Query{Kind: "fastener", Vehicle: "quill-1", After: storetest.Bolt(3, 0).ID, Limit: 4}
		rs, err := s.List(ctx, q, 2)
		if err != nil || len(rs) != 4 || rs[0].Name != storetest.Bolt(4, 0).Name() || rs[1].Number != 2 || rs[3].Name != storetest.Bolt(7, 0).Name() {
			t.Errorf("List gives %v, %v", rs, err)
		}
		hits, err := s.Search(ctx, fmt.Sprint("bolt ", n-1), "", 10)
		if err != nil || len(hits) != 1 {
			t.Errorf("Search gives %v, %v", hits, err)
		}
	}
	check(s)
	if err := s.Close(); err != nil { // in the middle of moving, most likely
		t.Fatal(err)
	}
	s = openTest(t, path)
	check(s)
	if left := len(s.tail.snapshot()); left > tailShare {
		t.Errorf("after opening again the tail has %d entries", left)
	}
	if err := s.Check(ctx); err != nil {
		t.Error(err)
	}
}
