package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofload/server/access"
	"proofload/server/store"
	"proofload/server/store/guard"
	"proofload/server/store/sqlite"
	"proofload/server/store/storetest"
)

// A restore raises the epoch, keeps revocations and the store that it replaces, and is
// accepted by the guard that refuses the same file put there by hand.
func TestRestore(t *testing.T) {
	ctx := t.Context()
	folder := t.TempDir()
	file, backup := filepath.Join(folder, "a.db"), filepath.Join(folder, "friday.db")
	open := func(path string) *guard.Store {
		t.Helper()
		s, err := sqlite.Open(ctx, path, sqlite.Options{})
		if err != nil {
			t.Fatal(err)
		}
		g, err := guard.Open(ctx, s, guard.Options{File: file + ".mark", Scrub: -1, ClockChecked: true})
		if err != nil {
			t.Fatal(err)
		}
		return g
	}
	s := open(file)
	keys := access.NewKeys(s, time.Now)
	stays, _, err := keys.Issue(ctx, "Maud Ibbot", []access.Role{access.Editor}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	goes, revoked, err := keys.Issue(ctx, "Piet Oram", []access.Role{access.Reviewer}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n <= 4; n++ {
		if n == 3 {
			demand(t, exitClean, "checked", "backup", backup, "--store", "sqlite:"+file)
			if _, err := keys.Revoke(ctx, revoked.ID); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := s.Publish(ctx, storetest.Publication(n, storetest.Put(t, storetest.Bolt(1, 60+n), int64(n-1)))); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Head(ctx); err != nil {
		t.Fatal(err)
	}
	demand(t, exitBroken, "another process has it open", "restore", backup, "--store", "sqlite:"+file)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	demand(t, exitClean, "epoch 2 from position 2 on, up to 4 was published before; 1 token revoked", "restore", backup, "--store", "sqlite:"+file)
	s = open(file)
	if e := s.Epoch(); e.Number != 2 || e.Position != 2 || e.Lost != 4 {
		t.Errorf("epoch %+v", e)
	}
	keys = access.NewKeys(s, time.Now)
	if _, err := keys.Find(ctx, stays); err != nil {
		t.Errorf("a token that was good: %v", err)
	}
	if _, err := keys.Find(ctx, goes); err == nil {
		t.Error("a token that was revoked after the backup is good again")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	kept, err := filepath.Glob(file + ".before-restore-*")
	if err != nil || !strings.HasSuffix(strings.Join(kept, " "), ".pages") && len(kept) < 2 {
		t.Errorf("kept: %q, %v", kept, err)
	}
	// A store that cannot be read takes every token with it.
	if err := errors.Join(os.WriteFile(file, []byte(strings.Repeat("torn", 5000)), 0o600)); err != nil {
		t.Fatal(err)
	}
	demand(t, exitClean, "epoch 3 from position 2 on, up to 2 was published before; 2 tokens revoked: all there are", "restore", backup, "--store", "sqlite:"+file)
	s = open(file)
	defer s.Close()
	if _, err := access.NewKeys(s, time.Now).Find(ctx, stays); err == nil {
		t.Error("a token is good though it may have been revoked")
	}
	if _, err := s.Get(ctx, storetest.Bolt(1, 1).Name(), 2); err != nil {
		t.Error(err)
	}
	demand(t, exitUsage, "takes one backup", "restore", "--store", "sqlite:"+file)
	demand(t, exitUsage, "does not exist", "restore", filepath.Join(folder, "none.db"), "--store", "sqlite:"+file)
	var _ store.Store = s
}
