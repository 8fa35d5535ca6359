package postgres

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// longestTerm is the most bytes of a term or word that stands as it is: an index
// takes no key of any length. A longer one stands as its beginning and its hash.
const longestTerm = 240

func termKey(s string) []byte {
	if len(s) <= longestTerm {
		return []byte(s)
	}
	sum := sha256.Sum256([]byte(s))
	return []byte(s[:longestTerm-64] + "#" + hex.EncodeToString(sum[:]))
}

func termsOf(name specdata.Name, number int64, f *index.Facts) []termRow {
	rows := make([]termRow, len(f.Terms))
	for i, t := range f.Terms {
		rows[i] = termRow{termKey(t.Key()), name, number}
	}
	return rows
}

// wordsOf returns the words of a revision, and one more that stands for its kind.
func wordsOf(name specdata.Name, number, leaf int64, f *index.Facts) []wordRow {
	rows := make([]wordRow, 0, len(f.Words)+1)
	for _, w := range append([]string{kindWord(name.Kind())}, f.Words...) {
		rows = append(rows, wordRow{termKey(w), int64(len(f.Words)), leaf, number, name})
	}
	return rows
}

// kindWord stands for a kind among the words; no word of a text has such a sign.
func kindWord(k specdata.Kind) string { return "=" + string(k) }

// List implements store.Store.
func (s *Store) List(ctx context.Context, q store.Query, position int64) ([]*store.Revision, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	if err := s.reached(ctx, position); err != nil {
		return nil, err
	}
	sql, args := listQuery(q, position)
	return s.revisions(ctx, sql, args...)
}

// listQuery builds the statement of a query. There is one text for each number of
// terms, so that each is prepared once.
func listQuery(q store.Query, position int64) (sql string, args []any) {
	collection := q.Kind.Collection()
	low, high := collection+"/"+q.After, collection+"0" // "0" is the character behind "/"
	order := ""
	if q.Before != "" {
		high, order = collection+"/"+q.Before, " DESC"
	}
	args = []any{low, high, position, q.Withdrawn, q.Limit}
	var joins strings.Builder
	for i, t := range index.Filters(q) {
		args = append(args, termKey(t.Key()))
		alias := "t" + strconv.Itoa(i)
		joins.WriteString(" JOIN term AS " + alias + " ON " + alias + ".term = $" + strconv.Itoa(len(args)) + " AND " + alias + ".name = s.name AND " + alias + ".number = s.number")
	}
	return `SELECT ` + columns + ` FROM (SELECT s.name, s.leaf FROM span AS s` + joins.String() + `
		WHERE s.name > $1 AND s.name < $2 AND s.since <= $3 AND s.until > $3 AND ($4 OR NOT s.withdrawn) ORDER BY s.name` + order + ` LIMIT $5) AS s
		JOIN revision AS r ON r.leaf = s.leaf JOIN publication AS p ON p.position = r.position ORDER BY s.name` + order, args
}

// Uses implements store.Store.
func (s *Store) Uses(ctx context.Context, name specdata.Name, position int64) (names []specdata.Name, err error) {
	if err := s.reached(ctx, position); err != nil {
		return nil, err
	}
	terms := column(index.Referring(name), func(t index.Term) []byte { return termKey(t.Key()) })
	err = s.read(ctx, func(ctx context.Context, q querier) error {
		names = []specdata.Name{}
		rows, err := q.Query(ctx, `SELECT t.name FROM term AS t JOIN span AS s ON s.name = t.name AND s.number = t.number
			WHERE t.term = ANY ($1) AND s.since <= $2 AND s.until > $2 AND NOT s.withdrawn`, terms, position)
		if err != nil {
			return err
		}
		var name string
		_, err = pgx.ForEachRow(rows, []any{&name}, func() error {
			names = append(names, specdata.Name(name))
			return nil
		})
		return err
	})
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	return slices.Compact(names), nil
}

// Search implements store.Store.
func (s *Store) Search(ctx context.Context, text string, kind specdata.Kind, limit int) (hits []store.Hit, err error) {
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
	if kind != "" {
		words = append(words, kindWord(kind))
	}
	sql, args := searchQuery(words, limit)
	err = s.read(ctx, func(ctx context.Context, q querier) error {
		hits = []store.Hit{}
		rows, err := q.Query(ctx, sql, args...)
		if err != nil {
			return err
		}
		var name string
		var number int64
		var document, hash []byte
		_, err = pgx.ForEachRow(rows, []any{&name, &number, &document, &hash}, func() error {
			n := specdata.Name(name)
			if sum := sha256.Sum256(document); !bytes.Equal(sum[:], hash) {
				return damaged(n, number)
			}
			facts, err := index.Of(n, document)
			if err == nil {
				hits = append(hits, store.Hit{Name: n, Title: facts.Title, Place: facts.Detail})
			}
			return err
		})
		return err
	})
	if err != nil {
		return nil, err
	}
	return hits, nil
}

// searchQuery builds the statement of a search. The key of the table word has the
// order of the answer: the fewer words the better, then the older.
func searchQuery(words []string, limit int) (sql string, args []any) {
	args = []any{int64(inForce), limit}
	var joins strings.Builder
	for i, w := range words {
		args = append(args, termKey(w))
		if i == 0 {
			continue
		}
		alias := "w" + strconv.Itoa(i)
		joins.WriteString(" JOIN word AS " + alias + " ON " + alias + ".word = $" + strconv.Itoa(len(args)) + " AND " + alias + ".words = w.words AND " + alias + ".leaf = w.leaf")
	}
	return `SELECT r.name, r.number, r.document, r.hash FROM (SELECT w.words, w.leaf FROM word AS w` + joins.String() + `
		JOIN span AS s ON s.name = w.name AND s.number = w.number WHERE w.word = $3 AND s.until = $1 ORDER BY w.words, w.leaf LIMIT $2) AS w
		JOIN revision AS r ON r.leaf = w.leaf ORDER BY w.words, w.leaf`, args
}
