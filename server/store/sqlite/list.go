package sqlite

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// List implements store.Store.
func (s *Store) List(ctx context.Context, q store.Query, position int64) ([]*store.Revision, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	if err := s.published(position); err != nil {
		return nil, err
	}
	terms := index.Filters(q)
	low, high := nameRange(q)
	var fresh []*entry
	if len(terms) > 0 {
		// Taken before the file is read, so that nothing falls between the two.
		fresh = match(s.tail.snapshot(), position, func(e *entry) bool {
			return string(e.name) > low && string(e.name) < high && (q.Withdrawn || !e.withdrawn) && e.facts.Has(terms)
		})
	}
	found := []*store.Revision{}
	err := s.read(ctx, func(c *conn) error {
		if err := listQuery(c, q, terms, position).each(appendRevision(&found)); err != nil {
			return err
		}
		var err error
		found, err = join(c, q, found, fresh)
		return err
	})
	if err != nil {
		return nil, err
	}
	return found, nil
}

// nameRange returns the names between which a query's page lies, both ends left out.
func nameRange(q store.Query) (low, high string) {
	collection := q.Kind.Collection()
	low, high = collection+"/", collection+"0" // "0" is the character behind "/"
	if q.Before != "" {
		return low, low + q.Before
	}
	return low + q.After, high
}

// join puts the tail's part of a page among the file's. A revision that was moved
// from one to the other meanwhile may be in both.
func join(c *conn, q store.Query, found []*store.Revision, fresh []*entry) ([]*store.Revision, error) {
	order := func(r *store.Revision, name specdata.Name) int { return cmp.Compare(r.Name, name) }
	if q.Before != "" {
		slices.Reverse(fresh)
		order = func(r *store.Revision, name specdata.Name) int { return cmp.Compare(name, r.Name) }
	}
	for _, e := range fresh {
		i, there := slices.BinarySearchFunc(found, e.name, order)
		if there {
			continue
		}
		if i == q.Limit {
			break
		}
		var one []*store.Revision
		err := c.q(`SELECT ` + columns + ` FROM revision AS r JOIN revision AS p ON p.leaf = r.origin WHERE r.leaf = $1`).int(e.leaf).each(appendRevision(&one))
		if err != nil {
			return nil, err
		}
		found = slices.Insert(found, i, one...)
		found = found[:min(len(found), q.Limit)]
	}
	return found, nil
}

// listQuery builds the statement of a query. There is one text for each number of
// terms, so that each is prepared once. The term that leaves the fewest records comes
// first in the join, whose order the engine keeps.
func listQuery(c *conn, q store.Query, terms []index.Term, position int64) *query {
	var tables, where strings.Builder
	first, n := "s", 0
	param := func(condition string) {
		n++
		where.WriteString(" AND " + condition + " $" + strconv.Itoa(n))
	}
	for i := range terms {
		alias := "t" + strconv.Itoa(i)
		if i == 0 {
			first = alias
		} else {
			where.WriteString(" AND " + alias + ".name = t0.name AND " + alias + ".number = t0.number")
		}
		tables.WriteString("term AS " + alias + " CROSS JOIN ")
		param(alias + ".term =")
	}
	if first != "s" {
		where.WriteString(" AND s.name = t0.name AND s.number = t0.number")
	}
	param(first + ".name >")
	param(first + ".name <")
	param("s.since <=")
	param("s.until >")
	if !q.Withdrawn {
		where.WriteString(" AND s.withdrawn = 0")
	}
	order := ""
	if q.Before != "" {
		order = " DESC"
	}
	stmt := c.q("SELECT " + columns + " FROM " + tables.String() + "span AS s CROSS JOIN revision AS r CROSS JOIN revision AS p" +
		" WHERE r.leaf = s.leaf AND p.leaf = r.origin" + where.String() + " ORDER BY " + first + ".name" + order + " LIMIT $" + strconv.Itoa(n+1))
	for _, t := range terms {
		stmt.text(t.Key())
	}
	low, high := nameRange(q)
	return stmt.text(low).text(high).int(position).int(position).int(int64(q.Limit))
}

// Uses implements store.Store.
func (s *Store) Uses(ctx context.Context, name specdata.Name, position int64) ([]specdata.Name, error) {
	if err := s.published(position); err != nil {
		return nil, err
	}
	terms := index.Referring(name)
	names := []specdata.Name{}
	for _, e := range match(s.tail.snapshot(), position, func(e *entry) bool { return !e.withdrawn && e.facts.HasAny(terms) }) {
		names = append(names, e.name)
	}
	err := s.read(ctx, func(c *conn) error {
		for _, t := range terms {
			err := c.q(`SELECT t.name FROM term AS t CROSS JOIN span AS s WHERE t.term = $1 AND s.name = t.name AND s.number = t.number
				AND s.since <= $2 AND s.until > $2 AND s.withdrawn = 0`).text(t.Key()).int(position).each(func(r *sqlite3.Stmt) error {
				names = append(names, specdata.Name(r.ColumnText(0)))
				return nil
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	return slices.Compact(names), nil
}

// Search implements store.Store.
func (s *Store) Search(ctx context.Context, text string, kind specdata.Kind, limit int) ([]store.Hit, error) {
	if err := store.ValidSearch(kind, limit); err != nil {
		return nil, err
	}
	if err := s.usable(ctx); err != nil {
		return nil, err
	}
	words := index.Words(text)
	if len(words) == 0 {
		return []store.Hit{}, nil
	}
	if len(words) > index.MaxWords {
		return nil, fmt.Errorf("search: %w: it has %d words; allowed: %d", store.ErrInvalid, len(words), index.MaxWords)
	}
	type ranked struct {
		row int64
		store.Hit
	}
	var found []ranked
	add := func(name specdata.Name, leaf int64, f *index.Facts) {
		found = append(found, ranked{searchRow(len(f.Words), leaf), store.Hit{Name: name, Title: f.Title, Place: f.Detail}})
	}
	// In this order: the tail has all up to the head that the file lacks.
	head := s.head.Load().Position
	for _, e := range match(s.tail.snapshot(), head, func(e *entry) bool {
		return !e.withdrawn && (kind == "" || e.name.Kind() == kind) && e.facts.Matches(words)
	}) {
		add(e.name, e.leaf, e.facts)
	}
	fresh := found
	err := s.read(ctx, func(c *conn) error {
		// The word index may still have revisions that the tail supersedes, and may have
		// some by now that were in the tail or come after the head.
		return c.q(`SELECT r.name, r.leaf, r.document FROM search AS f CROSS JOIN revision AS r CROSS JOIN span AS s
			WHERE f.search MATCH $1 AND r.leaf = f.rowid & $2 AND s.name = r.name AND s.number = r.number AND s.until > $3 ORDER BY f.rowid`).
			text(matchText(kind, words)).int(1<<leafBits - 1).int(head).each(func(r *sqlite3.Stmt) error {
			name := specdata.Name(r.ColumnText(0))
			if slices.ContainsFunc(fresh, func(f ranked) bool { return f.Name == name }) {
				return nil
			}
			facts, err := index.Of(name, r.ColumnRawBlob(2))
			if err != nil {
				return err
			}
			if add(name, r.ColumnInt64(1), facts); len(found) == len(fresh)+limit {
				return errEnough
			}
			return nil
		})
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(found, func(a, b ranked) int { return cmp.Compare(a.row, b.row) })
	hits := []store.Hit{}
	for _, f := range found[:min(limit, len(found))] {
		hits = append(hits, f.Hit)
	}
	return hits, nil
}

// matchText is a search in the engine's language. Words hold no quotation marks.
func matchText(kind specdata.Kind, words []string) string {
	var b strings.Builder
	if kind != "" {
		b.WriteString(`"` + kindWord(kind) + `"`)
	}
	for _, w := range words {
		b.WriteString(` "` + w + `"`)
	}
	return b.String()
}
