package storetest

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/store"
)

// grown publishes positions of 1, 2, 3, 1, 2 … revisions, with withdrawals and keys
// among them, and returns the whole log.
func grown(w *world, positions int) []*store.Revision {
	w.t.Helper()
	number := 0
	for i := range positions {
		var changes []store.Change
		for range i%3 + 1 {
			number++
			changes = append(changes, w.put(Bolt(number, 60), 0))
		}
		if i%4 == 3 {
			changes = append(changes, w.withdraw(Bolt(i, 0).Name(), 1))
		}
		w.n++
		p := Publication(w.n, changes...)
		if i%2 == 1 {
			p.Key = "key-" + string(rune('a'+i))
		}
		if _, err := w.Publish(w.ctx, p); err != nil {
			w.t.Fatal(err)
		}
	}
	rs, err := w.Store.Log(w.ctx, 0, w.head().Position, store.MaxLimit)
	if err != nil {
		w.t.Fatal(err)
	}
	return rs
}

// headAt returns for ever what Head gave when the position was the newest.
func headAt(t *testing.T, w *world) {
	heads := []store.Head{{}}
	for i := range 7 {
		changes := []store.Change{w.put(Bolt(10*i, 60), 0), w.put(Bolt(10*i+1, 60), 0), w.put(Bolt(10*i+2, 60), 0)}
		w.publish(changes[:i%3+1]...)
		heads = append(heads, w.head())
		for at, want := range heads {
			if got, err := w.HeadAt(w.ctx, int64(at)); err != nil || got != want {
				t.Errorf("HeadAt(%d) with the head at %d gives %+v, %v; want %+v", at, i+1, got, err, want)
			}
		}
	}
	_, err := w.HeadAt(w.ctx, 8)
	w.wantErr("HeadAt of a position to come", err, store.ErrFuture)
	_, err = w.HeadAt(w.ctx, -1)
	w.wantErr("HeadAt of position -1", err, store.ErrInvalid)
}

// Await returns the head at once where the position is there, and otherwise when it is.
func await(t *testing.T, w *world) {
	for _, at := range []int64{0, 1, 2} {
		if at > 0 {
			w.publish(w.put(Bolt(int(at), 60), 0))
		}
		for seen := range at + 1 {
			if got, err := w.Await(w.ctx, seen); err != nil || got != w.head() {
				t.Errorf("Await(%d) with the head at %d gives %+v, %v", seen, at, got, err)
			}
		}
	}
	_, err := w.Await(w.ctx, -1)
	w.wantErr("Await of position -1", err, store.ErrInvalid)
	const last, waiters = 8, 20
	var wg sync.WaitGroup
	for i := range waiters {
		wg.Go(func() {
			at := int64(3 + i%(last-2))
			head, err := w.Await(w.ctx, at)
			if err != nil || head.Position < at || head.Revisions != head.Position {
				t.Errorf("Await(%d) gives %+v, %v", at, head, err)
				return
			}
			// What is awaited can be read.
			if _, err := w.Get(w.ctx, Bolt(int(at), 0).Name(), at); err != nil {
				t.Errorf("Get of what was awaited at %d: %v", at, err)
			}
		})
	}
	for at := 3; at <= last; at++ {
		w.publish(w.put(Bolt(at, 60), 0))
		time.Sleep(time.Millisecond)
	}
	wg.Wait()
	ctx, cancel := context.WithTimeout(w.ctx, 5*time.Millisecond)
	defer cancel()
	_, err = w.Await(ctx, last+1)
	w.wantErr("Await that is given up", err, context.DeadlineExceeded)
	// What changes beside the log is no position.
	ended := make(chan error, 1)
	go func() { _, err := w.Await(w.ctx, last+1); ended <- err }()
	if err := w.WriteNotes(w.ctx, []store.NoteWrite{noteWrite("a", 0, "x")}); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Publish(w.ctx, store.Publication{}); !errors.Is(err, store.ErrInvalid) {
		t.Fatal(err)
	}
	select {
	case err := <-ended:
		t.Fatalf("Await of a position to come ends with %v", err)
	case <-time.After(20 * time.Millisecond):
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	w.wantErr("Await when the store is closed", <-ended, store.ErrClosed)
}

// Leaves count all revisions from 0 in the order of the log; what else gives a
// revision gives its leaf and key as well.
func leaves(t *testing.T, w *world) {
	log := grown(w, 9)
	for i, want := range log {
		if want.Leaf != int64(i) {
			t.Errorf("revision %d of the log has leaf %d", i, want.Leaf)
		}
		if wantKey := map[bool]string{true: "key-" + string(rune('a'+want.Position-1)), false: ""}[want.Position%2 == 0]; want.Key != wantKey {
			t.Errorf("the revision of leaf %d, position %d, has key %q, want %q", i, want.Position, want.Key, wantKey)
		}
		got, err := w.Leaf(w.ctx, int64(i))
		if err != nil {
			t.Fatal(err)
		}
		equal(t, "Leaf", got, want)
		got, err = w.GetRevision(w.ctx, want.Name, want.Number)
		if err != nil {
			t.Fatal(err)
		}
		equal(t, "GetRevision", got, want)
		equal(t, "Get", w.get(want.Name, want.Position), want)
	}
	equal(t, "revisions", w.head().Revisions, int64(len(log)))
	_, err := w.Leaf(w.ctx, int64(len(log)))
	w.wantErr("Leaf beyond the end", err, store.ErrFuture)
	_, err = w.Leaf(w.ctx, -1)
	w.wantErr("Leaf -1", err, store.ErrInvalid)
}

// ReadHashes implements tlog.HashReader.
func (w *world) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	hs, err := w.Hashes(w.ctx, indexes)
	out := make([]tlog.Hash, len(hs))
	for i, h := range hs {
		out[i] = h
	}
	return out, err
}

// The stored hashes are those of the tree of RFC 6962 over the log, at every size, and
// what is hashed once stays as it is.
func hashes(t *testing.T, w *world) {
	_, err := w.Hashes(w.ctx, []int64{0})
	w.wantErr("Hashes of an empty store", err, store.ErrFuture)
	if hs, err := w.Hashes(w.ctx, nil); err != nil || len(hs) != 0 {
		t.Errorf("Hashes of none gives %v, %v", hs, err)
	}
	log := grown(w, 14)
	places := storedHashes(len(log))
	if n := tlog.StoredHashCount(int64(len(log))); int64(len(places)) != n {
		t.Fatalf("the suite numbers %d hashes for %d leaves, the library %d", len(places), len(log), n)
	}
	var all []int64
	for x := range places {
		all = append(all, int64(x))
	}
	first, err := w.Hashes(w.ctx, all)
	if err != nil {
		t.Fatal(err)
	}
	for x, place := range places {
		if want := treeHash(log[place.from:place.to]); first[x] != want {
			t.Errorf("hash %d, of leaves %d to %d, is %x, want %x", x, place.from, place.to-1, first[x], want)
		}
	}
	// Any order, and one more than once.
	mixed, err := w.Hashes(w.ctx, []int64{7, 0, 7, int64(len(all) - 1)})
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "hashes in another order", mixed, [][32]byte{first[7], first[0], first[7], first[len(first)-1]})
	// The library makes of them the root of every size.
	for size := range log {
		root, err := tlog.TreeHash(int64(size+1), w)
		if want := treeHash(log[:size+1]); err != nil || [32]byte(root) != want {
			t.Errorf("root of %d leaves is %x, %v; want %x", size+1, root, err, want)
		}
	}
	w.publish(w.put(Bolt(900, 60), 0), w.put(Bolt(901, 60), 0))
	again, err := w.Hashes(w.ctx, all)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "hashes after more was published", again, first)
	_, err = w.Hashes(w.ctx, []int64{0, int64(len(storedHashes(len(log) + 2)))})
	w.wantErr("Hashes beyond the end", err, store.ErrFuture)
	_, err = w.Hashes(w.ctx, []int64{0, 1<<63 - 1})
	w.wantErr("Hashes far beyond the end", err, store.ErrFuture)
	_, err = w.Hashes(w.ctx, []int64{-1})
	w.wantErr("Hashes of -1", err, store.ErrInvalid)
	w.sound()
}

// A publication of many revisions grows the tree as many publications do.
func hashesOfLarge(t *testing.T, w *world) {
	w.publish(w.put(Bolt(1, 60), 0), w.put(Bolt(2, 60), 0), w.put(Bolt(3, 60), 0))
	var changes []store.Change
	for i := range 1000 {
		changes = append(changes, w.put(Bolt(10+i, 60), 0))
	}
	w.publish(changes...)
	w.publish(w.put(Bolt(4, 60), 0))
	var log []*store.Revision
	for at := range int64(3) {
		rs, err := w.Store.Log(w.ctx, at, at+1, store.MaxLimit)
		if err != nil {
			t.Fatal(err)
		}
		log = append(log, rs...)
	}
	root, err := tlog.TreeHash(int64(len(log)), w)
	if want := treeHash(log); err != nil || [32]byte(root) != want || len(log) != 1004 {
		t.Errorf("root of %d leaves is %x, %v; want %x", len(log), root, err, want)
	}
	w.sound()
}

// noteWrite is a write of a note in the space of most tests; body "" removes it.
func noteWrite(key string, base int64, body string, terms ...string) store.NoteWrite {
	w := store.NoteWrite{Space: "corrections", Key: key, Base: base, Terms: slices.Clone(terms), Time: Epoch}
	if body != "" {
		w.Body = []byte(body)
	}
	return w
}
