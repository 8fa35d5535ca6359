package ask

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// Page says which part of a listing is wanted.
type Page struct {
	Size  int32
	Token string
}

// DefaultPage is the size of a page that names none.
const DefaultPage = 50

// Limit returns the number of answers wanted, at most most (AIP-158).
func (p Page) Limit(most int) (int, error) {
	switch {
	case p.Size < 0:
		return 0, fault.Field("page_size", "page_size %d is negative; give 1 to %d, or leave it out for %d", p.Size, most, min(DefaultPage, most))
	case p.Size == 0:
		return min(DefaultPage, most), nil
	}
	return min(int(p.Size), most), nil
}

// Pages writes and reads page tokens. A token carries a code made with a secret key
// (RFC 2104), so that nobody but the servers of one store can write one.
type Pages struct{ key []byte }

// NewPages returns Pages with a key of their own: their tokens end with the process.
func NewPages() *Pages {
	key := make([]byte, sha256.Size)
	rand.Read(key) // it never fails, by its contract
	return &Pages{key}
}

// Where the store keeps the key.
const (
	keySpace = "page-tokens"
	keyName  = "key"
)

// OpenPages returns the Pages of a store, which all its servers share. Where the
// store cannot be written, tokens end with the process.
func OpenPages(ctx context.Context, s store.Store, now time.Time) (*Pages, error) {
	fresh := NewPages()
	for range 2 {
		n, err := s.GetNote(ctx, keySpace, keyName)
		switch {
		case err == nil && len(n.Body) == sha256.Size:
			return &Pages{n.Body}, nil
		case err == nil:
			return nil, fmt.Errorf("key of page tokens: %w: it has %d bytes, not %d", store.ErrCorrupt, len(n.Body), sha256.Size)
		case !errors.Is(err, store.ErrNotFound):
			return nil, err
		}
		err = s.WriteNotes(ctx, []store.NoteWrite{{Space: keySpace, Key: keyName, Body: fresh.key, Time: now.UTC()}})
		if !errors.Is(err, store.ErrConflict) { // on a conflict another server was faster
			return fresh, nil
		}
	}
	return fresh, nil
}

// Cursor is where a listing goes on: behind a key, at the position of its first page.
type Cursor struct {
	Position int64
	After    string
}

// codeLen is the length of a token's code in bytes: 128 bits cannot be guessed.
const codeLen = 16

// maxToken bounds a token that is read.
const maxToken = 2048

func (p *Pages) code(query string, rest []byte) []byte {
	h := hmac.New(sha256.New, p.key)
	fmt.Fprintf(h, "%d %s", len(query), query)
	h.Write(rest)
	return h.Sum(nil)[:codeLen]
}

// Token returns the token of a cursor. The query is in its code, so that a token
// given to another query is refused rather than obeyed.
func (p *Pages) Token(query string, c Cursor) string {
	b := binary.AppendUvarint(nil, uint64(c.Position))
	b = append(b, c.After...)
	return base64.RawURLEncoding.EncodeToString(append(p.code(query, b), b...))
}

// Cursor reads a token. The error is PageTokenInvalid.
func (p *Pages) Cursor(query, token string) (Cursor, error) {
	if len(token) > maxToken {
		return Cursor{}, Foreign()
	}
	b, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(b) < codeLen+1 || !hmac.Equal(b[:codeLen], p.code(query, b[codeLen:])) {
		return Cursor{}, Foreign()
	}
	position, n := binary.Uvarint(b[codeLen:])
	if n <= 0 || position > 1<<62 {
		return Cursor{}, Foreign()
	}
	return Cursor{int64(position), string(b[codeLen+n:])}, nil
}

// Foreign returns the error for a page token that the request did not get.
func Foreign() *fault.Error {
	return fault.New(fault.PageTokenInvalid, "page_token does not belong to this request; repeat every other field as it was in the request that gave it").With("field", "page_token")
}

// Cut returns one page of answers that are all at hand, and the token of the next.
// The cursor's key is the index of the first answer.
func Cut[T any](p *Pages, all []T, query string, size int, c Cursor) (part []T, next string, err error) {
	from := 0
	if c.After != "" {
		if from, err = strconv.Atoi(c.After); err != nil || from < 0 || from > len(all) {
			return nil, "", Foreign()
		}
	}
	to := min(from+size, len(all))
	if to < len(all) {
		next = p.Token(query, Cursor{c.Position, strconv.Itoa(to)})
	}
	return all[from:to], next, nil
}

// CutFixed is Cut for a list that is of no position.
func CutFixed[T any](p *Pages, all []T, query string, page Page) (part []T, next string, err error) {
	size, err := page.Limit(store.MaxLimit)
	if err != nil {
		return nil, "", err
	}
	var c Cursor
	if page.Token != "" {
		if c, err = p.Cursor(query, page.Token); err != nil {
			return nil, "", err
		}
	}
	return Cut(p, all, query, size, c)
}
