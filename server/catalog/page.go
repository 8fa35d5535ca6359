package catalog

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"strconv"

	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
)

// Page says which part of a listing is wanted.
type Page struct {
	Size  int32
	Token string
}

// The sizes of pages. A page also ends once it holds pageBytes, so that with its
// last view it fits the 4 MiB that a gRPC client takes unless told otherwise.
const (
	defaultPage = 50
	maxPage     = store.MaxLimit
	pageBytes   = 3 << 20
)

// size gives the number of answers wanted (AIP-158).
func (p Page) size() (int, error) {
	switch {
	case p.Size < 0:
		return 0, fault.Field("page_size", "page_size %d is negative; give 1 to %d, or leave it out for %d", p.Size, maxPage, defaultPage)
	case p.Size == 0:
		return defaultPage, nil
	}
	return min(int(p.Size), maxPage), nil
}

// cursor is where a listing goes on: behind a key, at the position of its first page.
type cursor struct {
	position int64
	after    string
}

// token writes a cursor for a query. The query is in the checksum, so that a token
// given to another query is refused rather than obeyed.
func (c cursor) token(query string) string {
	b := binary.AppendUvarint(nil, uint64(c.position))
	b = append(b, c.after...)
	return base64.RawURLEncoding.EncodeToString(append(checksum(query, b), b...))
}

const checksumLen = 8

func checksum(query string, rest []byte) []byte {
	h := sha256.New()
	fmt.Fprintf(h, "%d %s", len(query), query)
	h.Write(rest)
	return h.Sum(nil)[:checksumLen]
}

func parseToken(query, token string) (cursor, error) {
	bad := func() error {
		return fault.New(fault.PageTokenInvalid, "page_token does not belong to this request; repeat every other field as it was in the request that gave it").With("field", "page_token")
	}
	if len(token) > 1024 {
		return cursor{}, bad()
	}
	b, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(b) < checksumLen+1 || string(b[:checksumLen]) != string(checksum(query, b[checksumLen:])) {
		return cursor{}, bad()
	}
	b = b[checksumLen:]
	position, n := binary.Uvarint(b)
	if n <= 0 || position > 1<<62 {
		return cursor{}, bad()
	}
	return cursor{int64(position), string(b[n:])}, nil
}

// start gives where a page begins: at its moment, or where its token says.
func (c *Catalog) start(ctx context.Context, query string, p Page, m Moment) (cursor, error) {
	if p.Token == "" {
		position, err := c.Position(ctx, m)
		return cursor{position: position}, err
	}
	cur, err := parseToken(query, p.Token)
	if err != nil {
		return cur, err
	}
	// A token may outlive the server that gave it; what it names must be published here.
	if _, err := c.Position(ctx, Moment{Min: max(m.Min, cur.position)}); err != nil {
		return cur, err
	}
	return cur, nil
}

// List gives one page of the records of a kind that match a query, in order of
// id, the token of the next page and the position they answer for.
func (c *Catalog) List(ctx context.Context, q store.Query, p Page, m Moment) (views []*view.View, next string, position int64, err error) {
	size, err := p.size()
	if err != nil {
		return nil, "", 0, err
	}
	if err := validFilter(q); err != nil {
		return nil, "", 0, err
	}
	query := fmt.Sprintf("%q %s", []string{string(q.Kind), q.Vehicle, q.Place, q.Thread, q.Joint, q.Source}, m)
	cur, err := c.start(ctx, query, p, m)
	if err != nil {
		return nil, "", 0, err
	}
	s := c.Shelf.At(ctx, cur.position)
	q.After = cur.after
	more := false
	for bytes := 0; !more; {
		q.Limit = min(size-len(views)+1, store.MaxLimit)
		rs, err := s.List(q)
		if err != nil {
			return nil, "", 0, err
		}
		for _, r := range rs {
			if len(views) == size || bytes > pageBytes {
				more = true
				break
			}
			v, err := c.view(ctx, s, r)
			if err != nil {
				return nil, "", 0, err
			}
			bytes += len(v.Proto)
			views = append(views, v)
			q.After = r.Revision.Name.ID()
		}
		if len(rs) < q.Limit {
			break
		}
	}
	if more {
		next = cursor{cur.position, q.After}.token(query)
	}
	return views, next, cur.position, nil
}

// validFilter refuses filters that can match nothing because they are misspelt in form.
func validFilter(q store.Query) error {
	for _, f := range []struct{ field, value string }{{"vehicle", q.Vehicle}, {"source", q.Source}} {
		if f.value != "" && !specdata.ValidID(f.value) {
			return fault.Field(f.field, "%s %q is not an id; write lower-case words joined by hyphens, without the collection", f.field, clip(f.value))
		}
	}
	for _, f := range []struct{ field, value string }{{"place", q.Place}, {"thread", q.Thread}} {
		if len(f.value) > 200 {
			return fault.Field(f.field, "%s has %d bytes; allowed: 200", f.field, len(f.value))
		}
	}
	if q.Joint != "" {
		return validWord("joint", q.Joint, specdata.JointKinds)
	}
	return nil
}

func validWord[S ~string](field, word string, allowed []S) error {
	text := ""
	for i, a := range allowed {
		if string(a) == word {
			return nil
		}
		if i > 0 {
			text += ", "
		}
		text += string(a)
	}
	return fault.Field(field, "%s %q does not exist; allowed: %s", field, clip(word), text)
}

// page cuts a page out of answers that are all at hand. The cursor's key is the
// index of the first.
func page[T any](all []T, size int, cur cursor, query string) (part []T, next string, err error) {
	from := 0
	if cur.after != "" {
		if from, err = strconv.Atoi(cur.after); err != nil || from < 0 || from > len(all) {
			return nil, "", fault.New(fault.PageTokenInvalid, "page_token is not one this server gave").With("field", "page_token")
		}
	}
	to := min(from+size, len(all))
	if to < len(all) {
		next = cursor{cur.position, fmt.Sprint(to)}.token(query)
	}
	return all[from:to], next, nil
}

// viewsOf gives the views of records, all in force in the snapshot.
func (c *Catalog) viewsOf(ctx context.Context, s *snapshot.Snapshot, rs []*snapshot.Record) ([]*view.View, error) {
	out := make([]*view.View, len(rs))
	for i, r := range rs {
		v, err := c.view(ctx, s, r)
		if err != nil {
			return nil, err
		}
		out[i] = v
	}
	return out, nil
}

// PageOf cuts a page out of a fixed list that is of no position.
func PageOf[T any](all []T, query string, p Page) (part []T, next string, err error) {
	size, err := p.size()
	if err != nil {
		return nil, "", err
	}
	var cur cursor
	if p.Token != "" {
		if cur, err = parseToken(query, p.Token); err != nil {
			return nil, "", err
		}
	}
	return page(all, size, cur, query)
}
