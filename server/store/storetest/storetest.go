// Package storetest is the one conformance suite for every implementation of a
// store: each sentence of the contract has a test, and a random history is played
// against a store and a plain model side by side.
package storetest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"reflect"
	"testing"

	"proofload/server/store"
	"proofload/specdata"
)

// Run checks that a store keeps the contract. open gives a new, empty store and
// sees to its end with t.Cleanup.
func Run(t *testing.T, open func(t *testing.T) store.Store) {
	for _, c := range []struct {
		name string
		test func(*testing.T, *world)
	}{
		{"Empty", empty},
		{"Publish", publish},
		{"Positions", positions},
		{"Times", times},
		{"Refused", refused},
		{"Conflict", conflict},
		{"WithdrawAndRevive", withdrawAndRevive},
		{"Atomic", atomicPublication},
		{"Keys", keys},
		{"Own", ownMemory},
		{"AsOf", asOf},
		{"Revisions", revisions},
		{"Filters", filters},
		{"Paging", paging},
		{"Uses", uses},
		{"Search", search},
		{"Log", logWhole},
		{"Releases", releases},
		{"HeadAt", headAt},
		{"Await", await},
		{"Leaves", leaves},
		{"Hashes", hashes},
		{"HashesOfLarge", hashesOfLarge},
		{"Notes", notes},
		{"NoteConflict", noteConflict},
		{"NoteLists", noteLists},
		{"NotesRefused", notesRefused},
		{"PublicationNotes", publicationNotes},
		{"OwnNotes", ownNotes},
		{"NotesConcurrent", notesConcurrent},
		{"Large", large},
		{"Cancelled", cancelled},
		{"Concurrent", concurrent},
		{"Linearizable", linear},
		{"Rebuild", rebuild},
		{"Acts", acts},
		{"Closed", closed},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.test(t, &world{Store: open(t), t: t, ctx: t.Context()})
		})
	}
	t.Run("Model", func(t *testing.T) { model(t, open) })
}

// world is a store under test with the calls that tests make all the time.
type world struct {
	store.Store
	t   *testing.T
	ctx context.Context
	n   int
}

// publish publishes changes and fails the test where that fails.
func (w *world) publish(changes ...store.Change) int64 {
	w.t.Helper()
	w.n++
	at, err := w.Publish(w.ctx, Publication(w.n, changes...))
	if err != nil {
		w.t.Fatalf("Publish: %v", err)
	}
	return at
}

func (w *world) put(r specdata.Record, base int64) store.Change {
	w.t.Helper()
	return Put(w.t, r, base)
}

func (w *world) withdraw(name specdata.Name, base int64) store.Change {
	return store.Change{Name: name, Base: base}
}

func (w *world) head() store.Head {
	w.t.Helper()
	h, err := w.Head(w.ctx)
	if err != nil {
		w.t.Fatalf("Head: %v", err)
	}
	return h
}

func (w *world) get(name specdata.Name, at int64) *store.Revision {
	w.t.Helper()
	r, err := w.Get(w.ctx, name, at)
	if err != nil {
		w.t.Fatalf("Get(%s, %d): %v", name, at, err)
	}
	return r
}

// wantErr fails unless err is one of the contract's kind.
func (w *world) wantErr(what string, err, want error) {
	w.t.Helper()
	if !errors.Is(err, want) {
		w.t.Errorf("%s gives error %v, want %q", what, err, want)
	}
}

// sound fails unless the store finds itself in order.
func (w *world) sound() {
	w.t.Helper()
	if err := w.Check(w.ctx); err != nil {
		w.t.Errorf("Check: %v", err)
	}
}

// unchanged runs a call that should fail and fails unless the store stays as it is.
func (w *world) unchanged(what string, want error, call func() error) {
	w.t.Helper()
	before := w.head()
	w.wantErr(what, call(), want)
	if after := w.head(); after != before {
		w.t.Errorf("%s moved the head from %+v to %+v although it failed", what, before, after)
	}
}

func hashOf(document []byte) string {
	sum := sha256.Sum256(document)
	return hex.EncodeToString(sum[:])
}

func names(rs []*store.Revision) []specdata.Name {
	ns := []specdata.Name{}
	for _, r := range rs {
		ns = append(ns, r.Name)
	}
	return ns
}

func equal[T any](t *testing.T, what string, got, want T) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}
