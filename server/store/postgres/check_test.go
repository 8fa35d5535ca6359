package postgres

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// Check finds what was changed behind the store's back, and Rebuild mends what is
// derived.
func TestCheckFinds(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	s := openTest(t, address)
	scenario(t, s)
	for _, c := range []struct {
		sql, back string // "" where rebuilding mends it
		says      string
	}{
		{`UPDATE revision SET document = document || ' ' WHERE leaf = 1`, `UPDATE revision SET document = substring(document from 1 for length(document) - 1) WHERE leaf = 1`, "does not have the hash"},
		{`UPDATE revision SET tree = document WHERE leaf = 2`, "", "of the ledger's tree"},
		{`UPDATE publication SET reason = 'better' WHERE position = 1`, `UPDATE publication SET reason = 'publication 1' WHERE position = 1`, "of the ledger's tree"},
		{`UPDATE publication SET time = time + 1000000000000 WHERE position = 1`, `UPDATE publication SET time = time - 1000000000000 WHERE position = 1`, "its time is before"},
		{`UPDATE log_head SET position = 3, leaves = 5`, `UPDATE log_head SET position = 2, leaves = 4`, "head: it says"},
		{`UPDATE log_head SET edge = ''`, "", "the edge"},
		{`UPDATE publication SET leaves = 1 WHERE position = 2`, `UPDATE publication SET leaves = 2 WHERE position = 2`, "position 2"},
		{`UPDATE release SET position = 9`, `UPDATE release SET position = 1`, "release r"},
		{`DELETE FROM span WHERE number = 1`, "", "rebuild the store"},
		{`UPDATE span SET until = 7 WHERE number = 1`, "", "rebuild the store"},
		{`UPDATE term SET term = 'place=moon' WHERE term = 'place=rear hub' AND number = 2 AND name = 'fasteners/quill-1-bolt-000001'`, "", "rebuild the store"},
		{`UPDATE word SET word = 'moon' WHERE word = 'hub' AND leaf = 0`, "", "rebuild the store"},
		{`INSERT INTO note_term (space, term, key) VALUES ('corrections', 'lost', 'c1')`, "", "rebuild the store"},
	} {
		exec := func(sql string) {
			t.Helper()
			if _, err := s.reads.Exec(t.Context(), sql); err != nil {
				t.Fatal(err)
			}
		}
		var tree, edge []byte
		if err := s.reads.QueryRow(t.Context(), `SELECT tree, (SELECT edge FROM log_head) FROM revision WHERE leaf = 2`).Scan(&tree, &edge); err != nil {
			t.Fatal(err)
		}
		exec(c.sql)
		if err := s.Check(t.Context()); !errors.Is(err, store.ErrCorrupt) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("Check after %s gives %v, want %q", c.sql, err, c.says)
		}
		if c.back != "" {
			exec(c.back)
		} else if strings.Contains(c.sql, "tree") || strings.Contains(c.sql, "edge") {
			if _, err := s.reads.Exec(t.Context(), `UPDATE revision SET tree = $1 WHERE leaf = 2`, tree); err != nil {
				t.Fatal(err)
			}
			if _, err := s.reads.Exec(t.Context(), `UPDATE log_head SET edge = $1`, edge); err != nil {
				t.Fatal(err)
			}
		} else if err := s.Rebuild(t.Context()); err != nil {
			t.Errorf("Rebuild after %s: %v", c.sql, err)
		}
		if err := s.Check(t.Context()); err != nil {
			t.Errorf("Check when %s is mended: %v", c.sql, err)
		}
	}
	verifyScenario(t, s)
}

// A document that is not what was published is given by no read, and the tree stays
// that of what was.
func TestDamagedDocument(t *testing.T) {
	t.Parallel()
	s := openTest(t, pgtest.Shared(t).Address())
	bolt := storetest.Bolt(1, 60)
	if _, err := s.Publish(t.Context(), storetest.Publication(1, storetest.Put(t, bolt, 0))); err != nil {
		t.Fatal(err)
	}
	before, err := s.Hashes(t.Context(), []int64{0})
	if err != nil {
		t.Fatal(err)
	}
	if tag, err := s.reads.Exec(t.Context(), `UPDATE revision SET document = convert_to(replace(convert_from(document, 'UTF8'), '60 N.m', '80 N.m'), 'UTF8')`); err != nil || tag.RowsAffected() != 1 {
		t.Fatal(tag, err)
	}
	for what, read := range map[string]func() error{
		"Get":         func() error { _, err := s.Get(t.Context(), bolt.Name(), 1); return err },
		"GetRevision": func() error { _, err := s.GetRevision(t.Context(), bolt.Name(), 1); return err },
		"Revisions":   func() error { _, err := s.Revisions(t.Context(), bolt.Name(), 1, 0, 1); return err },
		"List": func() error {
			_, err := s.List(t.Context(), store.Query{Kind: specdata.KindFastener, Limit: 1}, 1)
			return err
		},
		"Search": func() error { _, err := s.Search(t.Context(), "carrier", "", 1); return err },
		"Log":    func() error { _, err := s.Log(t.Context(), 0, 1, 1); return err },
		"Leaf":   func() error { _, err := s.Leaf(t.Context(), 0); return err },
		"Withdraw": func() error {
			_, err := s.Publish(t.Context(), storetest.Publication(2, store.Change{Name: bolt.Name(), Base: 1}))
			return err
		},
		"Check": func() error { return s.Check(t.Context()) },
	} {
		if err := read(); !errors.Is(err, store.ErrCorrupt) || !strings.Contains(err.Error(), string(bolt.Name())) {
			t.Errorf("%s of a damaged document gives %v, want %v", what, err, store.ErrCorrupt)
		}
	}
	if after, err := s.Hashes(t.Context(), []int64{0}); err != nil || after[0] != before[0] {
		t.Errorf("the tree has moved with the damage: %x, %v", after, err)
	}
}

// A place may hold what the type TEXT refuses, and be of any length, as may a word.
func TestAnyText(t *testing.T) {
	t.Parallel()
	s := openTest(t, pgtest.Shared(t).Address())
	long := strings.Repeat("long place ", 1000)
	bolt := storetest.Fastener("a", strings.Repeat("x", 5000)+" bolt", long, "", specdata.JointClamp, 60, "", "quill-1")
	if _, err := s.Publish(t.Context(), storetest.Publication(1, storetest.Put(t, bolt, 0))); err != nil {
		t.Fatal(err)
	}
	// No document that passed the checks has the character zero, but the store does not check.
	zero := storetest.Put(t, storetest.Fastener("b", "b", "any place", "", specdata.JointClamp, 60, "", "quill-1"), 0)
	zero.Document = bytes.Replace(zero.Document, []byte("any place"), []byte(`a\u0000b`), 1)
	if _, err := s.Publish(t.Context(), storetest.Publication(2, zero)); err != nil && !errors.Is(err, store.ErrInvalid) {
		t.Error(err)
	}
	for place, want := range map[string]int{long: 1, long[:len(long)-1]: 0} {
		if rs, err := s.List(t.Context(), store.Query{Kind: specdata.KindFastener, Place: place, Limit: 9}, 1); err != nil || len(rs) != want {
			t.Errorf("List by a place of %d bytes gives %d, %v; want %d", len(place), len(rs), err, want)
		}
	}
	for word, want := range map[string]int{strings.Repeat("x", 5000): 1, strings.Repeat("x", 4999): 0} {
		if hits, err := s.Search(t.Context(), word, "", 9); err != nil || len(hits) != want {
			t.Errorf("Search by a word of %d bytes gives %d, %v; want %d", len(word), len(hits), err, want)
		}
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}
