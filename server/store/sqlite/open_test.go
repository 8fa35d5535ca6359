package sqlite

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
	"proofload/server/store/storetest"
)

// What was published is there when the store is opened again.
func TestReopen(t *testing.T) {
	ctx := t.Context()
	h := newHistory(t)
	path := filepath.Join(t.TempDir(), "a store, 100% ?new#1.db")
	set := usual(Options{Readers: 1, Cache: 1 << 20})
	set.tail = 10
	for range 3 {
		s, err := open(ctx, path, set)
		if err != nil {
			t.Fatal(err)
		}
		if err := h.verify(ctx, s, h.acks); err != nil {
			t.Fatal(err)
		}
		for range 7 {
			if err := h.publish(ctx, s); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.SetRelease(ctx, store.Release{Name: fmt.Sprint("r", len(h.tried)), Position: 1, Time: storetest.Epoch}); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if rest, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*")); err != nil || len(rest) != 3 {
			t.Errorf("after Close there are the files %q, want the store, its lock and the index of its pages", rest)
		}
	}
	s := openTest(t, path)
	if err := h.verify(ctx, s, h.acks); err != nil {
		t.Error(err)
	}
	if rs, err := s.Releases(ctx); err != nil || len(rs) != 3 {
		t.Errorf("releases are %v, %v; want 3", rs, err)
	}
}

func TestOpenRefuses(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	write := func(name, content string) {
		if err := os.WriteFile(in(name), []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	makeFile := func(name, sql string) {
		c, err := sqlite3.Open("file:" + (&url.URL{Path: in(name)}).String())
		if err == nil {
			err = c.Exec(sql)
		}
		if err != nil {
			t.Fatal(err)
		}
		c.Close()
		os.Remove(in(name) + pagesEnd) // it would not get past the index
	}
	write("text.db", strings.Repeat("kind: fastener\n", 1000))
	makeFile("foreign.db", `CREATE TABLE t (x); INSERT INTO t VALUES (1)`)
	makeFile("foreign-id.db", `PRAGMA application_id = 7; PRAGMA user_version = 1; CREATE TABLE t (x)`)
	makeFile("foreign-version.db", `PRAGMA user_version = 1; CREATE TABLE t (x)`)
	makeFile("rewritten.db", fmt.Sprintf(`PRAGMA application_id = %d; PRAGMA user_version = 1; CREATE TABLE t (x)`, applicationID))
	openTest(t, in("newer.db")).Close()
	makeFile("newer.db", `PRAGMA user_version = 99`)
	openTest(t, in("busy.db"))
	for _, c := range []struct {
		name string
		kind error
		says string
	}{
		{"text.db", nil, "not a proofload store"},
		{"foreign.db", store.ErrInvalid, "not a proofload store"},
		{"foreign-id.db", store.ErrInvalid, "not a proofload store"},
		{"foreign-version.db", store.ErrInvalid, "not a proofload store"},
		{"rewritten.db", store.ErrCorrupt, "no checksums"},
		{"newer.db", store.ErrNewer, "version 99"},
		{"busy.db", nil, "another process has it open"},
		{"no-folder/test.db", nil, "make it first"},
		{"text.db/test.db", nil, "make it first"},
		{".", nil, ""},
	} {
		before, _ := os.ReadFile(in(c.name))
		s, err := Open(ctx, in(c.name), Options{})
		if err == nil {
			s.Close()
			t.Errorf("Open of %s succeeds", c.name)
			continue
		}
		if !strings.Contains(err.Error(), in(c.name)) || !strings.Contains(err.Error(), c.says) || c.kind != nil && !errors.Is(err, c.kind) {
			t.Errorf("Open of %s gives %q; want %v, naming the file and saying %q", c.name, err, c.kind, c.says)
		}
		if after, _ := os.ReadFile(in(c.name)); string(after) != string(before) {
			t.Errorf("Open changed %s although it refused it", c.name)
		}
	}
	for _, o := range []Options{{Cache: MaxCache + 1}, {Cache: -1}, {Readers: -1}} {
		if _, err := Open(ctx, in("options.db"), o); !errors.Is(err, store.ErrInvalid) {
			t.Errorf("Open with %+v gives %v, want %v", o, err, store.ErrInvalid)
		}
	}
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := Open(cancelled, in("cancelled.db"), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Open with a cancelled context gives %v", err)
	}
}

func TestEngineVersion(t *testing.T) {
	for version, ok := range map[string]bool{"3.51.3": true, "3.51.10": true, "3.54.1": true, "4.0.0": true, "3.51.2": false, "3.40.1": false, "2.99.99": false, "": false} {
		if err := checkEngine(version); (err == nil) != ok {
			t.Errorf("engine %q: %v", version, err)
		}
	}
}

// Connections are set up as the design says.
func TestSettings(t *testing.T) {
	s := openTest(t, filepath.Join(t.TempDir(), "test.db"))
	err := s.read(t.Context(), func(c *conn) error {
		for name, want := range map[string]int64{"query_only": 1, "foreign_keys": 1, "trusted_schema": 0, "checksum_verification": 1, "mmap_size": 0, "cache_size": -MaxCache / 1024 / 2 / 8} {
			if got, err := c.pragma(name); err != nil || got != want {
				t.Errorf("reader has %s = %d, %v; want %d", name, got, err, want)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]int64{"synchronous": 2, "foreign_keys": 1, "trusted_schema": 0, "cache_size": -MaxCache / 1024 / 2} {
		if got, err := s.write.c.pragma(name); err != nil || got != want {
			t.Errorf("writer has %s = %d, %v; want %d", name, got, err, want)
		}
	}
}

// Whatever goes wrong with what is derived is found, named, and mended by Rebuild.
func TestDerivedDamage(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	for _, c := range []struct{ sql, says string }{
		{`UPDATE span SET until = until - 1 WHERE name = 'fasteners/quill-1-bolt-000001' AND number = 1`, "quill-1-bolt-000001"},
		{`UPDATE span SET withdrawn = 1 WHERE name = 'fasteners/quill-1-bolt-000002'`, "quill-1-bolt-000002"},
		{`UPDATE span SET words = 1 WHERE name = 'fasteners/quill-1-bolt-000002'`, "quill-1-bolt-000002"},
		{`UPDATE span SET leaf = 1`, "quill-1-bolt-000003"},
		{`DELETE FROM term WHERE name = 'fasteners/quill-1-bolt-000001' AND term LIKE 'place=%'`, "quill-1-bolt-000001"},
		{`INSERT INTO term VALUES ('place=nowhere', 'fasteners/quill-1-bolt-000001', 1)`, "quill-1-bolt-000001"},
		{`INSERT INTO term VALUES ('place=nowhere', 'fasteners/ghost', 1)`, "fasteners/ghost"},
		{`DELETE FROM search WHERE rowid = (SELECT words << 40 | leaf FROM span WHERE name = 'fasteners/quill-1-bolt-000003' ORDER BY number DESC LIMIT 1)`, "quill-1-bolt-000003"},
		{`INSERT INTO search (rowid, words) VALUES (1, 'ghost')`, "leaf 1"},
		{`UPDATE derived SET indexed = 1000`, "reach to leaf 1000"},
		{`UPDATE derived SET edition = 7`, "edition 7"},
		{`DELETE FROM note_term WHERE key = 'n1' AND term = 'open'`, "corrections/n1"},
		{`INSERT INTO note_term VALUES ('corrections', 'closed', 'n1')`, "corrections/n1"},
		{`INSERT INTO note_term VALUES ('corrections', 'open', 'ghost')`, "corrections/ghost"},
	} {
		h := newHistory(t)
		set := usual(Options{})
		set.tail = 1
		s := openSettings(t, filepath.Join(t.TempDir(), "test.db"), set)
		for range 9 {
			if err := h.publish(ctx, s); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.WriteNotes(ctx, []store.NoteWrite{{Space: "corrections", Key: "n1", Terms: []string{"open", "x"}, Body: []byte{}, Time: storetest.Epoch}}); err != nil {
			t.Fatal(err)
		}
		for len(s.tail.snapshot()) > 0 {
			if ctx.Err() != nil {
				t.Fatal("the tail is not moved")
			}
		}
		if _, err := s.do(ctx, 1, func(w *conn, _ *batch) (int64, bool, error) { return 0, false, w.Exec(c.sql) }); err != nil {
			t.Fatal(err)
		}
		err := s.Check(ctx)
		if !errors.Is(err, store.ErrCorrupt) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("Check after %s gives %v, want one that says %q", c.sql, err, c.says)
		}
		if err := s.Rebuild(ctx); err != nil {
			t.Fatal(err)
		}
		if err := h.verify(ctx, s, h.acks); err != nil {
			t.Errorf("after %s and Rebuild: %v", c.sql, err)
		}
	}
}

// Damage of the log itself is found as well; Rebuild cannot mend that.
func TestLogDamage(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	for _, c := range []struct{ sql, says string }{
		{`UPDATE revision SET document = CAST(replace(CAST(document AS TEXT), '4 N.m', '5 N.m') AS BLOB) WHERE position = 4`, "hash"},
		{`UPDATE revision SET hash = zeroblob(32) WHERE leaf = 3`, "hash"},
		{`UPDATE revision SET number = 7 WHERE leaf = 3`, "revision 7"},
		{`UPDATE revision SET withdrawn = 1 WHERE leaf = 3`, "withdraws what is not there"},
		{`UPDATE revision SET leaf = 1000 WHERE leaf = 10`, "leaf 999"},
		{`UPDATE revision SET time = 0 WHERE time IS NOT NULL AND position = 3`, "time 1970"},
		{`UPDATE revision SET authors = 'ada' WHERE time IS NOT NULL AND position = 3`, "authors"},
		{`UPDATE revision SET origin = 1 WHERE leaf = 6`, "begins with leaf 0"},
		{`UPDATE revision SET position = 4 WHERE leaf = 6`, "begins with leaf"},
		{`DELETE FROM revision WHERE position = 4`, "follows position 3"},
		{`DELETE FROM revision WHERE leaf = 6`, "leaf 6 follows leaf 4"},
		{`UPDATE release SET position = 9`, "position 9"},
		{`UPDATE revision SET reason = 'because' WHERE leaf = 5`, "hash 4 of level 0"},
		{`UPDATE revision SET reviewer = 'eve' WHERE leaf = 5`, "hash 5 of level 0"},
		{`UPDATE revision SET authors = '["eve"]' WHERE leaf = 5`, "hash 4 of level 0"},
		{`UPDATE revision SET tree = zeroblob(32) WHERE leaf = 3`, "hash 2 of level 0"},
		{`UPDATE revision SET tree = CAST(substr(tree, 1, 32) || zeroblob(64) AS BLOB) WHERE leaf = 4`, "hash 1 of level 1"},
		{`UPDATE revision SET tree = CAST(substr(tree, 1, 64) || zeroblob(32) AS BLOB) WHERE leaf = 4`, "hash 0 of level 2"},
		{`UPDATE revision SET tree = substr(tree, 1, 32) WHERE leaf = 4`, "has 32 bytes of hashes"},
		{`UPDATE revision SET tree = NULL WHERE leaf = 4`, "has 0 bytes of hashes"},
		{`UPDATE note SET terms = '["b","a"]'`, "not in order"},
		{`UPDATE note SET terms = 'open'`, "cannot be read"},
	} {
		h := newHistory(t)
		s := openTest(t, filepath.Join(t.TempDir(), "test.db"))
		for range 5 {
			if err := h.publish(ctx, s); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.SetRelease(ctx, store.Release{Name: "r", Position: 2, Time: storetest.Epoch}); err != nil {
			t.Fatal(err)
		}
		if err := s.WriteNotes(ctx, []store.NoteWrite{{Space: "corrections", Key: "n1", Body: []byte{}, Time: storetest.Epoch}}); err != nil {
			t.Fatal(err)
		}
		if _, err := s.do(ctx, 1, func(w *conn, _ *batch) (int64, bool, error) { return 0, false, w.Exec(c.sql) }); err != nil {
			t.Fatal(err)
		}
		if err := s.Check(ctx); !errors.Is(err, store.ErrCorrupt) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("Check after %s gives %v, want one that says %q", c.sql, err, c.says)
		}
	}
	// And a document that is not what was published is not given.
	h := newHistory(t)
	s := openTest(t, filepath.Join(t.TempDir(), "test.db"))
	if err := h.publish(ctx, s); err != nil {
		t.Fatal(err)
	}
	if _, err := s.do(ctx, 1, func(w *conn, _ *batch) (int64, bool, error) {
		return 0, false, w.Exec(`UPDATE revision SET document = CAST(replace(CAST(document AS TEXT), '1 N.m', '7 N.m') AS BLOB)`)
	}); err != nil {
		t.Fatal(err)
	}
	name := h.tried[0].Changes[0].Name
	for what, call := range map[string]func() error{
		"Get":         func() error { _, err := s.Get(ctx, name, 1); return err },
		"GetRevision": func() error { _, err := s.GetRevision(ctx, name, 1); return err },
		"Log":         func() error { _, err := s.Log(ctx, 0, 1, 10); return err },
		"List":        func() error { _, err := s.List(ctx, store.Query{Kind: name.Kind(), Limit: 10}, 1); return err },
		"withdrawing": func() error {
			_, err := s.Publish(ctx, storetest.Publication(2, store.Change{Name: name, Base: 1}))
			return err
		},
	} {
		if err := call(); !errors.Is(err, store.ErrCorrupt) {
			t.Errorf("%s of a changed document gives %v, want %v", what, err, store.ErrCorrupt)
		}
	}
}

// A store whose derived tables another edition made is rebuilt when it is opened.
func TestEdition(t *testing.T) {
	ctx := t.Context()
	h := newHistory(t)
	path := filepath.Join(t.TempDir(), "test.db")
	s := openTest(t, path)
	for range 5 {
		if err := h.publish(ctx, s); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.do(ctx, 1, func(w *conn, _ *batch) (int64, bool, error) {
		return 0, false, w.Exec(`UPDATE derived SET edition = 0, indexed = 4; DELETE FROM span; INSERT INTO term VALUES ('place=nowhere', 'fasteners/ghost', 1)`)
	}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := h.verify(ctx, openTest(t, path), h.acks); err != nil {
		t.Error(err)
	}
}
