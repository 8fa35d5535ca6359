package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/maphash"
	"maps"
	"reflect"
	"slices"

	"github.com/ncruces/go-sqlite3"
	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// maxComplaints is how many places a check names; more are only counted.
const maxComplaints = 20

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
		k := checker{c: c, tail: s.tail.snapshot(), rows: map[specdata.Name]uint64{}, words: map[int64]uint64{}, seed: maphash.MakeSeed()}
		for _, step := range []func(context.Context) error{k.engine, k.log, k.derivedRows, k.derivedWords, k.releases, k.notes} {
			if err := step(ctx); err != nil {
				return err
			}
		}
		return k.verdict(s.path)
	}))
}

// checker compares what is stored with what the log says. Derived rows are compared
// by sums of their hashes, so that neither order nor size matters: what the log
// demands is added, what the tables hold is taken away, and what is left is wrong.
type checker struct {
	c    *conn
	seed maphash.Seed
	// rows are by record, words by the row of the word index.
	rows  map[specdata.Name]uint64
	words map[int64]uint64

	// leaves counts those whose hashes were compared, -1 where they cannot be any more;
	// edge is the right edge of their tree.
	leaves int64
	edge   []tlog.Hash

	tail       []*entry
	head       store.Head
	indexed    int64
	complaints []error
	count      int
}

func (k *checker) complain(format string, args ...any) {
	if k.count++; k.count <= maxComplaints {
		k.complaints = append(k.complaints, fmt.Errorf(format, args...))
	}
}

func (k *checker) verdict(path string) error {
	if k.count == 0 {
		return nil
	}
	if more := k.count - len(k.complaints); more > 0 {
		k.complaints = append(k.complaints, fmt.Errorf("and %d more", more))
	}
	return fmt.Errorf("store %s: %w: %w", path, store.ErrCorrupt, errors.Join(k.complaints...))
}

// engine lets SQLite check its own structures, which reads every page in use and
// with it every checksum.
func (k *checker) engine(context.Context) error {
	return k.c.q(`PRAGMA integrity_check(20)`).each(func(r *sqlite3.Stmt) error {
		if said := r.ColumnText(0); said != "ok" {
			k.complain("file: %s", said)
		}
		return nil
	})
}

// log checks the log by itself and adds up what should be derived from it.
func (k *checker) log(ctx context.Context) error {
	type last struct {
		newest
		position int64
		words    int
	}
	records := map[specdata.Name]*last{}
	span := func(name specdata.Name, l *last, until int64) {
		k.add(name, 1, spanRow(l.number, l.position, until, l.leaf, l.withdrawn, l.words))
	}
	if err := k.c.q(`SELECT indexed FROM derived WHERE id = 1`).each(scanInt(&k.indexed)); err != nil {
		return err
	}
	origin := int64(0)
	var authors []string
	err := k.c.q(`SELECT ` + columns + `, r.origin, r.tree FROM revision AS r LEFT JOIN revision AS p ON p.leaf = r.origin ORDER BY r.leaf`).each(func(row *sqlite3.Stmt) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		name, l := specdata.Name(row.ColumnText(0)), &last{position: row.ColumnInt64(2)}
		l.number, l.leaf, l.withdrawn = row.ColumnInt64(1), row.ColumnInt64(10), row.ColumnBool(3)
		what := fmt.Sprintf("record %s revision %d", name, l.number)
		if l.leaf != k.head.Revisions+1 {
			k.complain("%s: leaf %d follows leaf %d", what, l.leaf, k.head.Revisions)
		}
		k.head.Revisions = l.leaf
		if l.position != k.head.Position {
			if l.position != k.head.Position+1 {
				k.complain("%s: position %d follows position %d", what, l.position, k.head.Position)
			}
			k.head.Position, origin = l.position, l.leaf
			made := fromNanos(row.ColumnInt64(9))
			if made.Before(k.head.Time) && k.head.Position > 1 {
				k.complain("position %d: its time is before that of the position before", l.position)
			}
			k.head.Time = made
			authors = nil
			if err := json.Unmarshal(row.ColumnRawText(6), &authors); err != nil {
				k.complain("position %d: its authors cannot be read: %v", l.position, err)
			}
		}
		if row.ColumnInt64(12) != origin {
			k.complain("%s: it says that position %d begins with leaf %d, which is %d", what, l.position, row.ColumnInt64(12), origin)
		}
		document := row.ColumnRawBlob(5)
		if sum := sha256.Sum256(document); !bytes.Equal(sum[:], row.ColumnRawBlob(4)) {
			k.complain("%s: its document does not have the hash it was published with", what)
		}
		leaf := ledger.NewLeaf(name, l.number, l.position, hex.EncodeToString(row.ColumnRawBlob(4)), l.withdrawn, authors, row.ColumnText(7), row.ColumnText(8), fromNanos(row.ColumnInt64(9)))
		k.tree(what, l.leaf-1, leaf, row.ColumnRawBlob(13))
		facts, err := index.Of(name, document)
		if err != nil {
			k.complain("%s: %v", what, err)
			facts = &index.Facts{}
		}
		l.words = len(facts.Words)
		if before := records[name]; before != nil {
			if l.number != before.number+1 || l.withdrawn && before.withdrawn {
				k.complain("%s follows revision %d", what, before.number)
			}
			span(name, before, l.position)
			if l.leaf <= k.indexed {
				delete(k.words, searchRow(before.words, before.leaf))
			}
		} else if l.number != 1 || l.withdrawn {
			k.complain("%s is its first", what)
		}
		records[name] = l
		if l.leaf > k.indexed {
			k.compareTail(what, l.leaf, facts)
			return nil
		}
		for _, t := range facts.Terms {
			k.add(name, 1, termRow(t.Key(), l.number))
		}
		if !l.withdrawn {
			k.words[searchRow(l.words, l.leaf)] = k.wordSum(append([]string{kindWord(name.Kind())}, facts.Words...))
		}
		return nil
	})
	if err != nil {
		return err
	}
	for name, l := range records {
		span(name, l, inForce)
	}
	if k.indexed > k.head.Revisions {
		k.complain("derived tables: they reach to leaf %d, the log to %d", k.indexed, k.head.Revisions)
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
		k.complain("%s: the tail in memory is not what the log says; open the store again", what)
	}
}

func (k *checker) derivedRows(context.Context) error {
	err := k.c.q(`SELECT name, number, since, until, leaf, withdrawn, words FROM span`).each(func(r *sqlite3.Stmt) error {
		k.add(specdata.Name(r.ColumnText(0)), -1, spanRow(r.ColumnInt64(1), r.ColumnInt64(2), r.ColumnInt64(3), r.ColumnInt64(4), r.ColumnBool(5), r.ColumnInt(6)))
		return nil
	})
	if err != nil {
		return err
	}
	if err := k.c.q(`SELECT term, name, number FROM term`).each(func(r *sqlite3.Stmt) error {
		k.add(specdata.Name(r.ColumnText(1)), -1, termRow(r.ColumnText(0), r.ColumnInt64(2)))
		return nil
	}); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(k.rows)) {
		if k.rows[name] != 0 {
			k.complain("record %s: what it is listed by or refers to is not what the log says; rebuild the store", name)
		}
	}
	return nil
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
		k.complain("leaf %d, record %q: the words it is searched by are not what the log says; rebuild the store", leaf, name)
	}
	edition := int64(0)
	if err := k.c.q(`SELECT edition FROM derived WHERE id = 1`).each(scanInt(&edition)); err != nil {
		return err
	}
	if edition != index.Edition {
		k.complain("derived tables: they are of edition %d, wanted %d; rebuild the store", edition, index.Edition)
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

// tree compares the hashes that are stored with a leaf with those that it and the tree
// before it demand. It builds on what is stored, so that one wrong hash is named once.
func (k *checker) tree(what string, index int64, leaf ledger.Leaf, stored []byte) {
	if index != k.leaves {
		return // a leaf is missing, which was said, and with it what to compare with
	}
	k.leaves++
	if len(stored) != completes(index)*tlog.HashSize {
		k.complain("%s: it has %d bytes of hashes of the ledger's tree, want %d", what, len(stored), completes(index)*tlog.HashSize)
		k.leaves = -1
		return
	}
	want := leaf.Hash()
	for level := 0; ; level++ {
		h := tlog.Hash(stored[level*tlog.HashSize:][:tlog.HashSize])
		if h != want {
			k.complain("%s: hash %d of level %d of the ledger's tree is not what the log says", what, index>>level, level)
		}
		if index>>level&1 == 0 {
			k.edge = append(k.edge, h)
			return
		}
		want = tlog.NodeHash(k.edge[len(k.edge)-1], h)
		k.edge = k.edge[:len(k.edge)-1]
	}
}

// notes compares the table of terms with what the notes say, likewise by sums.
func (k *checker) notes(ctx context.Context) error {
	sums := map[string]uint64{}
	if err := k.c.q(`SELECT space, key, terms FROM note`).each(func(r *sqlite3.Stmt) error {
		space, key := r.ColumnText(0), r.ColumnText(1)
		terms, err := noteTerms(space, key, r.ColumnRawText(2))
		if err != nil {
			k.complain("%v", err)
		}
		if !slices.IsSorted(terms) || len(slices.Compact(slices.Clone(terms))) != len(terms) {
			k.complain("note %s/%q: its terms are not in order, each once", space, key)
		}
		sum := uint64(0)
		for _, t := range terms {
			sum += k.hash(t)
		}
		if sum != 0 {
			sums[space+"/"+key] = sum
		}
		return ctx.Err()
	}); err != nil {
		return err
	}
	if err := k.c.q(`SELECT space, key, term FROM note_term`).each(func(r *sqlite3.Stmt) error {
		space, key := r.ColumnText(0), r.ColumnText(1)
		sums[space+"/"+key] -= k.hash(r.ColumnText(2))
		return ctx.Err()
	}); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(sums)) {
		if sums[name] != 0 {
			k.complain("note %q: what it is listed by is not what it says; rebuild the store", name)
		}
	}
	return nil
}

func (k *checker) releases(context.Context) error {
	return k.c.q(`SELECT name, position FROM release`).each(func(r *sqlite3.Stmt) error {
		if position := r.ColumnInt64(1); position < 1 || position > k.head.Position {
			k.complain("release %s: it names position %d, the newest is %d", r.ColumnText(0), position, k.head.Position)
		}
		return nil
	})
}

// add adds the hash of a derived row to its record's sum, times sign.
func (k *checker) add(name specdata.Name, sign int, row string) {
	h := k.hash(row)
	if sign < 0 {
		h = -h
	}
	k.rows[name] += h
}

func (k *checker) hash(s string) uint64 { return maphash.String(k.seed, s) }

func (k *checker) wordSum(words []string) (sum uint64) {
	for _, w := range words {
		sum += k.hash(w)
	}
	return sum
}

func spanRow(number, since, until, leaf int64, withdrawn bool, words int) string {
	return fmt.Sprint("span", number, since, until, leaf, withdrawn, words)
}

func termRow(key string, number int64) string { return fmt.Sprint("term", number, key) }
