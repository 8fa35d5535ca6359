package notary_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/fault"
	"proofload/server/ledger/rfc6962"
	"proofload/server/notary"
	"proofload/server/store"
	"proofload/server/store/sqlite"
)

var noon = time.Date(2026, 9, 14, 12, 0, 0, 0, time.UTC)

func open(t *testing.T, file string) store.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), file, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func publish(t *testing.T, s store.Store, base int64, reason string) {
	t.Helper()
	doc := []byte(`{"id":"sheet","issuer":"Tansy Works","kind":"source","title":"Sheet ` + reason + `"}`)
	_, err := s.Publish(t.Context(), store.Publication{
		Changes: []store.Change{{Name: "sources/sheet", Base: base, Document: doc}}, Authors: []string{"maud"}, Reviewer: "ines", Reason: reason, Time: noon,
	})
	if err != nil {
		t.Fatal(err)
	}
}

// However many nodes start at once, a library gets one key, and keeps it.
func TestOneKey(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "a.db"))
	keys := make([]string, 8)
	var wg sync.WaitGroup
	for i := range keys {
		wg.Go(func() {
			n, err := notary.Open(context.Background(), s, notary.Options{Origin: ""}, noon)
			if err != nil {
				t.Error(err)
				return
			}
			keys[i] = n.Key()
		})
	}
	wg.Wait()
	for _, k := range keys {
		if k == "" || k != keys[0] {
			t.Errorf("one node has the key %q, another %q", keys[0], k)
		}
	}
	if strings.Contains(keys[0], "PRIVATE") || !strings.HasPrefix(keys[0], "library-") {
		t.Errorf("key is %q", keys[0])
	}
	other, err := notary.Open(t.Context(), open(t, filepath.Join(t.TempDir(), "b.db")), notary.Options{Origin: ""}, noon)
	if err != nil || other.Key() == keys[0] || other.Origin()+"+" == keys[0][:len(other.Origin())+1] {
		t.Errorf("two libraries share %q: %v", keys[0], err)
	}
}

func TestOpenRefuses(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "a.db"))
	for _, origin := range []string{"a b", "a+b", strings.Repeat("x", 101), "a\nb", "é"} {
		if _, err := notary.Open(t.Context(), s, notary.Options{Origin: origin}, noon); err == nil || !strings.Contains(err.Error(), "is no name of a library") {
			t.Errorf("origin %q: %v", origin, err)
		}
	}
	if _, err := notary.Open(t.Context(), s, notary.Options{Origin: "workshop.example"}, noon); err != nil {
		t.Fatal(err)
	}
	if _, err := notary.Open(t.Context(), s, notary.Options{Origin: "elsewhere.example"}, noon); err == nil || !strings.Contains(err.Error(), "is called workshop.example since its first start") {
		t.Errorf("another name: %v", err)
	}
	for _, body := range []string{"", "x", "PRIVATE+KEY+a+12345678+AAAA"} {
		if err := s.WriteNotes(t.Context(), []store.NoteWrite{{Space: "keys", Key: "ledger", Base: store.AnyVersion, Body: []byte(body), Time: noon}}); err != nil {
			t.Fatal(err)
		}
		if _, err := notary.Open(t.Context(), s, notary.Options{Origin: ""}, noon); !errors.Is(err, store.ErrCorrupt) {
			t.Errorf("a key of %q: %v", body, err)
		}
	}
}

// The same position is signed the same way whatever is published after it, and the
// notary proves nothing that is not so.
func TestCheckpointsAndProofs(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a.db")
	s := open(t, file)
	n, err := notary.Open(t.Context(), s, notary.Options{Origin: "workshop.example"}, noon)
	if err != nil {
		t.Fatal(err)
	}
	var empty *fault.Error
	if _, _, err := n.Checkpoint(t.Context(), 0); !errors.As(err, &empty) || empty.Kind != fault.MomentNotFound {
		t.Errorf("an empty library: %v", err)
	}
	publish(t, s, 0, "one")
	_, first, err := n.Checkpoint(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	publish(t, s, 1, "two")
	c, again, err := n.Checkpoint(t.Context(), 1)
	if err != nil || string(again) != string(first) {
		t.Errorf("the first checkpoint is now %s, was %s: %v", again, first, err)
	}
	if text, err := rfc6962.OpenNote(first, n.Key()); err != nil || text != c.Text() {
		t.Errorf("the second verifier opens %q, %v", text, err)
	}
	if _, _, err := n.Checkpoint(t.Context(), 3); !errors.Is(err, store.ErrFuture) {
		t.Errorf("a future checkpoint: %v", err)
	}
	two, _, err := n.Checkpoint(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	if _, p, err := n.Prove(t.Context(), "sources/sheet", 2, two); err != nil || rfc6962.Included([]rfc6962.Hash{rfc6962.Hash(p.Hashes[0])}, 1, 2, rfc6962.Leaf(p.Leaf), rfc6962.Hash(two.Root)) != nil {
		t.Errorf("proof is %+v, %v", p, err)
	}
	if _, _, err := n.Prove(t.Context(), "sources/sheet", 2, c); err == nil || !strings.Contains(err.Error(), "published at position 2") {
		t.Errorf("a proof in a tree before it: %v", err)
	}
	s.Close()

	// Somebody changed the reason of the first revision behind the store's back.
	raw, err := sqlite3.Open("file:" + filepath.ToSlash(file))
	if err != nil {
		t.Fatal(err)
	}
	if err := raw.Exec(`UPDATE revision SET reason = 'another' WHERE leaf = 1`); err != nil {
		t.Fatal(err)
	}
	// He took away the index of the pages as well, and nobody checked the file.
	if err := errors.Join(raw.Close(), os.Remove(file+".pages")); err != nil {
		t.Fatal(err)
	}
	if s, err = sqlite.Open(t.Context(), file, sqlite.Options{Unchecked: true}); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if n, err = notary.Open(t.Context(), s, notary.Options{Origin: ""}, noon); err != nil {
		t.Fatal(err)
	}
	if _, same, err := n.Checkpoint(t.Context(), 1); err != nil || string(same) != string(first) {
		t.Errorf("the tree follows the forgery: %s, %v", same, err)
	}
	if _, _, err := n.Prove(t.Context(), "sources/sheet", 1, two); !errors.Is(err, store.ErrCorrupt) {
		t.Errorf("a forged revision is proved: %v", err)
	}
}

// A key in a file of its own is not in the store any more, signs the same, and is
// refused where others may read it, where it is another library's and where it is gone.
func TestKeyFile(t *testing.T) {
	ctx := t.Context()
	s := open(t, filepath.Join(t.TempDir(), "a.db"))
	file := filepath.Join(t.TempDir(), "key")
	inStore, err := notary.Open(ctx, s, notary.Options{Origin: "workshop.example"}, noon)
	if err != nil {
		t.Fatal(err)
	}
	o := notary.Options{KeyFile: file}
	for range 2 {
		n, err := notary.Open(ctx, s, o, noon)
		if err != nil || n.Key() != inStore.Key() || n.Origin() != "workshop.example" {
			t.Fatalf("the key moved: %v, %v", n, err)
		}
	}
	kept, err := s.GetNote(ctx, "keys", "ledger")
	if err != nil || strings.Contains(string(kept.Body), "PRIVATE") || !strings.Contains(string(kept.Body), inStore.Key()) {
		t.Errorf("the store holds %q, %v", kept.Body, err)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key's file: %v, %v", info.Mode(), err)
	}
	if _, err := notary.Open(ctx, s, notary.Options{}, noon); err == nil || !strings.Contains(err.Error(), "--key") {
		t.Errorf("without its file: %v", err)
	}
	other := open(t, filepath.Join(t.TempDir(), "b.db"))
	if _, err := notary.Open(ctx, other, o, noon); err == nil || !strings.Contains(err.Error(), "of another library") {
		t.Errorf("the key of another library: %v", err)
	}
	if err := os.Chmod(file, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := notary.Open(ctx, s, o, noon); err == nil || !strings.Contains(err.Error(), "0644") {
		t.Errorf("a key that others may read: %v", err)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	if _, err := notary.Open(ctx, s, o, noon); err == nil || !strings.Contains(err.Error(), "is not there") {
		t.Errorf("a key that is gone: %v", err)
	}
}
