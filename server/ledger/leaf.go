// Package ledger makes the history of a library verifiable by strangers: every
// revision is a leaf of an append-only Merkle tree (RFC 6962, section 2.1, as
// golang.org/x/mod/sumdb/tlog computes it), and signed checkpoints name the tree
// at a position. Anyone who keeps one checkpoint can prove later that nothing behind
// it was changed, dropped or slipped in.
package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/specdata"
)

// Leaf is what the tree commits to for one revision. A leaf's bytes are its
// canonical JSON (RFC 8785); they never change once published.
type Leaf struct {
	Authors  []string `json:"authors"`
	Document string   `json:"document"` // SHA-256 of the canonical document, lower-case hex
	Name     string   `json:"name"`
	Position int64    `json:"position,string"`
	Reason   string   `json:"reason"`
	Reviewer string   `json:"reviewer"`
	Revision int64    `json:"revision,string"`
	Time     string   `json:"time"` // RFC 3339 in UTC
	// Withdrawn leaves repeat the hash of the document they withdraw.
	Withdrawn bool `json:"withdrawn"`
}

// NewLeaf returns the leaf of a revision.
func NewLeaf(name specdata.Name, revision, position int64, hash string, withdrawn bool, authors []string, reviewer, reason string, t time.Time) Leaf {
	return Leaf{
		Authors: slices.Clone(authors), Document: hash, Name: string(name), Position: position, Reason: reason,
		Reviewer: reviewer, Revision: revision, Time: t.UTC().Format(time.RFC3339Nano), Withdrawn: withdrawn,
	}
}

// Bytes returns the canonical JSON of the leaf (RFC 8785): the members in order of
// name, no spaces, strings escaped no more than they must be. Bytes that are not
// UTF-8 become U+FFFD.
func (l Leaf) Bytes() []byte {
	b := make([]byte, 0, 512)
	b = append(b, `{"authors":[`...)
	for i, a := range l.Authors {
		if i > 0 {
			b = append(b, ',')
		}
		b = quote(b, a)
	}
	b = quote(append(b, `],"document":`...), l.Document)
	b = quote(append(b, `,"name":`...), l.Name)
	b = quote(append(b, `,"position":`...), strconv.FormatInt(l.Position, 10))
	b = quote(append(b, `,"reason":`...), l.Reason)
	b = quote(append(b, `,"reviewer":`...), l.Reviewer)
	b = quote(append(b, `,"revision":`...), strconv.FormatInt(l.Revision, 10))
	b = quote(append(b, `,"time":`...), l.Time)
	b = strconv.AppendBool(append(b, `,"withdrawn":`...), l.Withdrawn)
	return append(b, '}')
}

// quote appends a string as RFC 8785, section 3.2.2.2, writes it: escaped are the
// control characters, the quotation mark and the backslash, and nothing else.
func quote(b []byte, s string) []byte {
	const digits = "0123456789abcdef"
	b = append(b, '"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b = append(b, '\\', byte(r))
		case r >= ' ':
			b = utf8.AppendRune(b, r)
		case r == '\b':
			b = append(b, `\b`...)
		case r == '\t':
			b = append(b, `\t`...)
		case r == '\n':
			b = append(b, `\n`...)
		case r == '\f':
			b = append(b, `\f`...)
		case r == '\r':
			b = append(b, `\r`...)
		default:
			b = append(b, '\\', 'u', '0', '0', digits[r>>4], digits[r&15])
		}
	}
	return append(b, '"')
}

// ParseLeaf reads a leaf and refuses bytes that are not its canonical form, or
// that no library could have published.
func ParseLeaf(b []byte) (Leaf, error) {
	var l Leaf
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&l); err != nil {
		return Leaf{}, fmt.Errorf("ledger leaf is not JSON of the known form: %w", err)
	}
	if !bytes.Equal(l.Bytes(), b) {
		return Leaf{}, fmt.Errorf("ledger leaf of %s revision %d is not in canonical form", l.Name, l.Revision)
	}
	if _, err := specdata.ParseEntry(l.Name); err != nil {
		return Leaf{}, fmt.Errorf("ledger leaf: %w", err)
	}
	if sum, err := hex.DecodeString(l.Document); err != nil || len(sum) != sha256.Size || hex.EncodeToString(sum) != l.Document {
		return Leaf{}, fmt.Errorf("ledger leaf of %s revision %d: document hash %q is not %d bytes in lower-case hex", l.Name, l.Revision, l.Document, sha256.Size)
	}
	if l.Revision < 1 || l.Position < 1 {
		return Leaf{}, fmt.Errorf("ledger leaf of %s has revision %d at position %d; both count from 1", l.Name, l.Revision, l.Position)
	}
	if t, err := time.Parse(time.RFC3339Nano, l.Time); err != nil || t.UTC().Format(time.RFC3339Nano) != l.Time {
		return Leaf{}, fmt.Errorf("ledger leaf of %s revision %d: time %q is not RFC 3339 in UTC", l.Name, l.Revision, l.Time)
	}
	return l, nil
}

// Hash returns the leaf's hash in the tree.
func (l Leaf) Hash() tlog.Hash { return tlog.RecordHash(l.Bytes()) }

// Is reports whether a canonical document is the one the leaf commits to.
func (l Leaf) Is(document []byte) bool {
	sum := sha256.Sum256(document)
	return hex.EncodeToString(sum[:]) == l.Document
}
