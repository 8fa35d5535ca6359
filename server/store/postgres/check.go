package postgres

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/maphash"
	"maps"
	"slices"

	"crypto/sha256"

	"github.com/jackc/pgx/v5"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// maxComplaints is how many places a check names; more are only counted.
const maxComplaints = 20

// Check implements store.Store. It reads everything, as it was at one moment, while
// writes go on.
func (s *Store) Check(ctx context.Context) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	return s.snapshot(ctx, func(ctx context.Context, q querier) error {
		k := checker{s: s, q: q, rows: map[string]uint64{}, records: map[specdata.Name]*spanRow{}, seed: maphash.MakeSeed()}
		for _, step := range []func(context.Context) error{k.log, k.head, k.derived, k.releases} {
			if err := step(ctx); err != nil {
				return err
			}
		}
		return k.verdict()
	})
}

// checker compares what is stored with what the log says. Derived rows are compared
// by sums of their hashes, so that neither order nor size matters: what the log
// demands is added, what the tables hold is taken away, and what is left is wrong.
type checker struct {
	s    *Store
	q    querier
	seed maphash.Seed
	// rows are the sums, by what is named when one is not zero.
	rows map[string]uint64
	// records are the newest revisions.
	records map[specdata.Name]*spanRow
	// at is what the log has led to, first the leaf that its position begins with.
	at         store.Head
	first      int64
	edge       edge
	complaints []error
	count      int
}

func (k *checker) complain(format string, args ...any) {
	if k.count++; k.count <= maxComplaints {
		k.complaints = append(k.complaints, fmt.Errorf(format, args...))
	}
}

func (k *checker) verdict() error {
	if k.count == 0 {
		return nil
	}
	if more := k.count - len(k.complaints); more > 0 {
		k.complaints = append(k.complaints, fmt.Errorf("and %d more", more))
	}
	return fmt.Errorf("store %s: %w: %w", k.s.name, store.ErrCorrupt, errors.Join(k.complaints...))
}

// logRow is a revision with its publication, where it has one.
type logRow struct {
	spanRow
	hash, document, tree      []byte
	from, leaves, nanos       *int64
	authors, reviewer, reason *string
}

// log checks the log by itself and adds up what should be derived from it.
func (k *checker) log(ctx context.Context) error {
	for next := int64(-1); ; {
		rows, err := k.q.Query(ctx, `SELECT r.name, r.number, r.position, r.leaf, r.withdrawn, r.hash, r.document, r.tree, p.first_leaf, p.leaves, p.time, p.authors, p.reviewer, p.reason
			FROM revision AS r LEFT JOIN publication AS p ON p.position = r.position WHERE r.leaf > $1 ORDER BY r.leaf LIMIT $2`, next, pageRows)
		if err != nil {
			return err
		}
		n := 0
		for rows.Next() {
			var r logRow
			var name string
			if err := rows.Scan(&name, &r.number, &r.since, &r.leaf, &r.withdrawn, &r.hash, &r.document, &r.tree, &r.from, &r.leaves, &r.nanos, &r.authors, &r.reviewer, &r.reason); err != nil {
				rows.Close()
				return err
			}
			r.name, r.until = specdata.Name(name), inForce
			n, next = n+1, r.leaf
			k.revision(&r)
		}
		if rows.Err() != nil {
			return rows.Err()
		}
		if n < pageRows {
			break
		}
	}
	for _, r := range k.records {
		k.add(string(r.name), 1, spanText(r))
	}
	return nil
}

func (k *checker) revision(r *logRow) {
	what := fmt.Sprintf("record %s revision %d", r.name, r.number)
	if r.leaf != k.at.Revisions {
		k.complain("%s: leaf %d follows leaf %d", what, r.leaf, k.at.Revisions-1)
	}
	k.at.Revisions = r.leaf + 1
	if r.from == nil {
		k.complain("%s: position %d has no row", what, r.since)
		return
	}
	if r.since != k.at.Position {
		if r.since != k.at.Position+1 {
			k.complain("%s: position %d follows position %d", what, r.since, k.at.Position)
		}
		made := fromNanos(*r.nanos)
		if k.at.Position > 0 && made.Before(k.at.Time) {
			k.complain("position %d: its time is before that of the position before", r.since)
		}
		k.at.Position, k.at.Time, k.first = r.since, made, r.leaf
	}
	if *r.from != k.first || r.leaf >= *r.from+*r.leaves {
		k.complain("%s: position %d says that it has leaves %d to %d, and leaf %d begins it", what, r.since, *r.from, *r.from+*r.leaves-1, k.first)
	}
	if sum := sha256.Sum256(r.document); !bytes.Equal(sum[:], r.hash) {
		k.complain("%s: its document does not have the hash it was published with", what)
	}
	k.tree(what, r)
	if before := k.records[r.name]; before != nil {
		if r.number != before.number+1 || r.withdrawn && before.withdrawn {
			k.complain("%s follows revision %d", what, before.number)
		}
		before.until = r.since
		k.add(string(r.name), 1, spanText(before))
	} else if r.number != 1 || r.withdrawn {
		k.complain("%s is its first", what)
	}
	k.records[r.name] = &r.spanRow
	facts, err := index.Of(r.name, r.document)
	if err != nil {
		k.complain("%s: %v", what, err)
		return
	}
	for _, t := range termsOf(r.name, r.number, facts) {
		k.add(string(r.name), 1, fmt.Sprint("term", t.number, t.term))
	}
	if r.withdrawn {
		return
	}
	for _, w := range wordsOf(r.name, r.number, r.leaf, facts) {
		k.add(string(r.name), 1, fmt.Sprint("word", w.number, w.words, w.leaf, w.word))
	}
}

// tree grows the ledger's tree by a revision and compares.
func (k *checker) tree(what string, r *logRow) {
	var authors []string
	if err := json.Unmarshal([]byte(*r.authors), &authors); err != nil {
		k.complain("%s: its authors cannot be read: %v", what, err)
	}
	leaf := ledger.NewLeaf(r.name, r.number, r.since, hex.EncodeToString(r.hash), r.withdrawn, authors, *r.reviewer, *r.reason, fromNanos(*r.nanos))
	stored, next, err := k.edge.grow([]ledger.Leaf{leaf})
	if err != nil {
		k.complain("%s: %v", what, err)
		return
	}
	if !bytes.Equal(stored[0], r.tree) {
		k.complain("%s: the ledger's hashes at leaf %d are not those of what is stored: one of the two was changed", what, r.leaf)
	}
	k.edge = next
}

// head compares what the head says with what the log has led to.
func (k *checker) head(ctx context.Context) error {
	var h store.Head
	var nanos, edition, publications int64
	var edge []byte
	if err := k.q.QueryRow(ctx, `SELECT position, leaves, time, edge, edition, (SELECT count(*) FROM publication) FROM log_head WHERE id = 1`).
		Scan(&h.Position, &h.Revisions, &nanos, &edge, &edition, &publications); err != nil {
		return err
	}
	if h.Time = headTime(h.Position, nanos); h != k.at {
		k.complain("head: it says %+v, the log leads to %+v", h, k.at)
	}
	if publications != k.at.Position {
		k.complain("log: it has %d positions, the last of them %d", publications, k.at.Position)
	}
	if !bytes.Equal(edge, k.edge.bytes()) {
		k.complain("head: the edge of the ledger's tree is not that of the log")
	}
	if edition != k.s.set.edition {
		k.complain("derived tables: they are of edition %d, wanted %d; rebuild the store", edition, k.s.set.edition)
	}
	return nil
}

// derived takes away what the tables hold.
func (k *checker) derived(ctx context.Context) error {
	var name, space string
	var number, a, b, c int64
	var withdrawn bool
	var text, key []byte
	for _, part := range []struct {
		sql  string
		into []any
		row  func()
		// from gives the place to continue behind.
		from []any
	}{
		{`SELECT name, number, since, until, leaf, withdrawn FROM span WHERE (name, number) > ($1, $2) ORDER BY name, number LIMIT $3`,
			[]any{&name, &number, &a, &b, &c, &withdrawn}, func() {
				k.add(name, -1, spanText(&spanRow{specdata.Name(name), number, a, b, c, withdrawn}))
			}, []any{&name, &number}},
		{`SELECT term, name, number FROM term WHERE (term, name, number) > ($1, $2, $3) ORDER BY term, name, number LIMIT $4`,
			[]any{&text, &name, &number}, func() { k.add(name, -1, fmt.Sprint("term", number, text)) }, []any{&text, &name, &number}},
		{`SELECT word, words, leaf, name, number FROM word WHERE (word, words, leaf) > ($1, $2, $3) ORDER BY word, words, leaf LIMIT $4`,
			[]any{&text, &a, &b, &name, &number}, func() { k.add(name, -1, fmt.Sprint("word", number, a, b, text)) }, []any{&text, &a, &b}},
		{`SELECT n.space, n.key, t.term FROM (SELECT space, key, terms FROM note WHERE (space, key) > ($1, $2) ORDER BY space, key LIMIT $3) AS n
			LEFT JOIN LATERAL unnest(n.terms) AS t (term) ON TRUE ORDER BY n.space, n.key`,
			[]any{&space, &key, &text}, func() {
				if text != nil {
					k.add(space+"/"+string(key), 1, fmt.Sprint("note", text))
				}
			}, []any{&space, &key}},
		{`SELECT space, term, key FROM note_term WHERE (space, term, key) > ($1, $2, $3) ORDER BY space, term, key LIMIT $4`,
			[]any{&space, &text, &key}, func() { k.add(space+"/"+string(key), -1, fmt.Sprint("note", text)) }, []any{&space, &text, &key}},
	} {
		name, space, number, a, b, text, key = "", "", 0, 0, 0, []byte{}, []byte{}
		for n := 1; n > 0; {
			rows, err := k.q.Query(ctx, part.sql, append(values(part.from), pageRows)...)
			if err != nil {
				return err
			}
			tag, err := pgx.ForEachRow(rows, part.into, func() error { part.row(); return nil })
			if err != nil {
				return err
			}
			n = int(tag.RowsAffected())
		}
	}
	for _, what := range slices.Sorted(maps.Keys(k.rows)) {
		if k.rows[what] != 0 {
			k.complain("%s: what it is listed by or refers to is not what the log says; rebuild the store", what)
		}
	}
	return nil
}

// values gives what pointers point at.
func values(pointers []any) []any {
	vs := make([]any, len(pointers))
	for i, p := range pointers {
		switch p := p.(type) {
		case *string:
			vs[i] = *p
		case *int64:
			vs[i] = *p
		case *[]byte:
			vs[i] = bytes.Clone(*p)
		}
	}
	return vs
}

func (k *checker) releases(ctx context.Context) error {
	rows, err := k.q.Query(ctx, `SELECT name, position FROM release ORDER BY name`)
	if err != nil {
		return err
	}
	var name string
	var position int64
	_, err = pgx.ForEachRow(rows, []any{&name, &position}, func() error {
		if position < 1 || position > k.at.Position {
			k.complain("release %s: it names position %d, the newest is %d", name, position, k.at.Position)
		}
		return nil
	})
	return err
}

// add adds the hash of a derived row to a sum, times sign.
func (k *checker) add(what string, sign int, row string) {
	h := maphash.String(k.seed, row)
	if sign < 0 {
		h = -h
	}
	k.rows[what] += h
}

func spanText(r *spanRow) string {
	return fmt.Sprint("span", r.number, r.since, r.until, r.leaf, r.withdrawn)
}
