package sqlite

import (
	"context"
	"fmt"
	"hash/maphash"
	"maps"
	"reflect"
	"slices"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store/index"
	"proofload/server/store/recheck"
	"proofload/specdata"
)

// Check implements store.Store. It reads the whole file, in one snapshot, while
// writes go on.
func (s *Store) Check(ctx context.Context) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	// A connection that searched before keeps the outline of the word index, and the
	// engine's own check would hold that against an index that has moved on.
	return s.readError(ctx, s.readers.useFresh(ctx, func(c *conn) error {
		tx := c.Begin()
		defer tx.Rollback()
		k := checker{c: c, Walk: recheck.New(), tail: s.tail.snapshot(), words: map[int64]uint64{}, seed: maphash.MakeSeed()}
		for _, step := range []func(context.Context) error{k.engine, k.log, k.derivedRows, k.derivedWords, k.releases, k.notes} {
			if err := step(ctx); err != nil {
				return err
			}
		}
		return k.Verdict(s.path)
	}))
}

// checker compares what is stored with what the log says.
type checker struct {
	c *conn
	*recheck.Walk
	// words are sums of the hashes of words by row of the word index: what the log
	// demands is added, what the index holds is taken away.
	words map[int64]uint64
	seed  maphash.Seed

	tail    []*entry
	indexed int64
}

// engine lets SQLite check its own structures, which reads every page in use and
// with it every checksum.
func (k *checker) engine(context.Context) error {
	return k.c.q(`PRAGMA integrity_check(20)`).each(func(r *sqlite3.Stmt) error {
		if said := r.ColumnText(0); said != "ok" {
			k.Complain("file: %s", said)
		}
		return nil
	})
}

// log checks the log by itself and adds up what should be derived from it.
func (k *checker) log(ctx context.Context) error {
	if err := k.c.q(`SELECT indexed FROM derived WHERE id = 1`).each(scanInt(&k.indexed)); err != nil {
		return err
	}
	err := k.c.q(`SELECT ` + columns + `, r.origin, r.tree FROM revision AS r LEFT JOIN revision AS p ON p.leaf = r.origin ORDER BY r.leaf`).each(func(row *sqlite3.Stmt) error {
		r := recheck.Row{
			Name: specdata.Name(row.ColumnText(0)), Number: row.ColumnInt64(1), Position: row.ColumnInt64(2), Withdrawn: row.ColumnBool(3),
			Hash: row.ColumnRawBlob(4), Document: row.ColumnRawBlob(5), Authors: row.ColumnRawText(6), Reviewer: row.ColumnText(7), Reason: row.ColumnText(8),
			Time: fromNanos(row.ColumnInt64(9)), Leaf: row.ColumnInt64(10) - 1, First: row.ColumnInt64(12) - 1, Tree: row.ColumnRawBlob(13),
		}
		facts, before := k.Revision(&r)
		k.Demand(string(r.Name), wordsRow(r.Number, len(facts.Words)))
		if before != nil && r.Leaf < k.indexed {
			delete(k.words, searchRow(before.Words, before.Leaf+1))
		}
		if r.Leaf >= k.indexed {
			k.compareTail(fmt.Sprintf("record %s revision %d", r.Name, r.Number), r.Leaf+1, facts)
			return ctx.Err()
		}
		for _, t := range facts.Terms {
			k.Demand(string(r.Name), termRow(t.Key(), r.Number))
		}
		if !r.Withdrawn {
			k.words[searchRow(len(facts.Words), r.Leaf+1)] = k.wordSum(append([]string{kindWord(r.Name.Kind())}, facts.Words...))
		}
		return ctx.Err()
	})
	if err != nil {
		return err
	}
	k.End()
	if k.indexed > k.Head.Revisions {
		k.Complain("derived tables: they reach to leaf %d, the log to %d", k.indexed, k.Head.Revisions)
	}
	return nil
}

// compareTail checks what is only in memory. The tail was taken before the log, which
// may have grown since.
func (k *checker) compareTail(what string, leaf int64, facts *index.Facts) {
	if len(k.tail) == 0 || leaf > k.tail[len(k.tail)-1].leaf {
		return
	}
	if i := leaf - k.tail[0].leaf; i < 0 || k.tail[i].leaf != leaf || !reflect.DeepEqual(k.tail[i].facts, facts) {
		k.Complain("%s: the tail in memory is not what the log says; open the store again", what)
	}
}

func (k *checker) derivedRows(context.Context) error {
	err := k.c.q(`SELECT name, number, since, until, leaf, withdrawn, words FROM span`).each(func(r *sqlite3.Stmt) error {
		k.HoldSpan(recheck.Span{Name: specdata.Name(r.ColumnText(0)), Number: r.ColumnInt64(1), Since: r.ColumnInt64(2), Until: r.ColumnInt64(3), Leaf: r.ColumnInt64(4) - 1, Withdrawn: r.ColumnBool(5)})
		k.Hold(r.ColumnText(0), wordsRow(r.ColumnInt64(1), r.ColumnInt(6)))
		return nil
	})
	if err != nil {
		return err
	}
	err = k.c.q(`SELECT term, name, number FROM term`).each(func(r *sqlite3.Stmt) error {
		k.Hold(r.ColumnText(1), termRow(r.ColumnText(0), r.ColumnInt64(2)))
		return nil
	})
	k.Derived()
	return err
}

func (k *checker) derivedWords(ctx context.Context) error {
	err := eachWord(k.c, func(row int64, word string) error {
		k.words[row] -= k.hash(word)
		return ctx.Err()
	})
	if err != nil {
		return err
	}
	for _, row := range slices.Sorted(maps.Keys(k.words)) {
		if k.words[row] == 0 {
			continue
		}
		name, leaf := "", row&(1<<leafBits-1)
		if err := k.c.q(`SELECT name FROM revision WHERE leaf = $1`).int(leaf).each(func(r *sqlite3.Stmt) error {
			name = r.ColumnText(0)
			return nil
		}); err != nil {
			return err
		}
		k.Complain("leaf %d, record %q: the words it is searched by are not what the log says; rebuild the store", leaf, name)
	}
	edition := int64(0)
	if err := k.c.q(`SELECT edition FROM derived WHERE id = 1`).each(scanInt(&edition)); err != nil {
		return err
	}
	if edition != index.Edition {
		k.Complain("derived tables: they are of edition %d, wanted %d; rebuild the store", edition, index.Edition)
	}
	return nil
}

// eachWord reads the engine's word index back. The view on it lives in the
// connection's own temporary schema and goes with it.
func eachWord(c *conn, word func(row int64, word string) error) error {
	if err := c.Exec(`PRAGMA query_only = OFF; CREATE VIRTUAL TABLE temp.search_words USING fts5vocab(main, search, instance)`); err != nil {
		return err
	}
	return c.q(`SELECT doc, term FROM temp.search_words`).each(func(r *sqlite3.Stmt) error { return word(r.ColumnInt64(0), r.ColumnText(1)) })
}

// notes compares the table of terms with what the notes say.
func (k *checker) notes(ctx context.Context) error {
	if err := k.c.q(`SELECT space, key, terms FROM note`).each(func(r *sqlite3.Stmt) error {
		space, key := r.ColumnText(0), r.ColumnText(1)
		terms, err := noteTerms(space, key, r.ColumnRawText(2))
		if err != nil {
			k.Complain("%v", err)
		}
		if !slices.IsSorted(terms) || len(slices.Compact(slices.Clone(terms))) != len(terms) {
			k.Complain("note %s/%q: its terms are not in order, each once", space, key)
		}
		for _, t := range terms {
			k.Demand("note "+space+"/"+key, t)
		}
		return ctx.Err()
	}); err != nil {
		return err
	}
	err := k.c.q(`SELECT space, key, term FROM note_term`).each(func(r *sqlite3.Stmt) error {
		k.Hold("note "+r.ColumnText(0)+"/"+r.ColumnText(1), r.ColumnText(2))
		return ctx.Err()
	})
	k.Derived()
	return err
}

func (k *checker) releases(context.Context) error {
	return k.c.q(`SELECT name, position FROM release`).each(func(r *sqlite3.Stmt) error {
		k.Release(r.ColumnText(0), r.ColumnInt64(1))
		return nil
	})
}

func (k *checker) hash(s string) uint64 { return maphash.String(k.seed, s) }

func (k *checker) wordSum(words []string) (sum uint64) {
	for _, w := range words {
		sum += k.hash(w)
	}
	return sum
}

func wordsRow(number int64, words int) string { return fmt.Sprint("words", number, words) }

func termRow(key string, number int64) string { return fmt.Sprint("term", number, key) }
