// Package ledger makes the history of a library verifiable by strangers: every
// revision is a leaf of an append-only Merkle tree (RFC 6962, section 2.1, as
// golang.org/x/mod/sumdb/tlog computes it), and signed checkpoints name the tree
// at a position. Whoever keeps one checkpoint can prove later that nothing behind
// it was changed, dropped or slipped in.
package ledger

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"time"

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

// NewLeaf gives the leaf of a revision.
func NewLeaf(name specdata.Name, revision, position int64, hash string, withdrawn bool, authors []string, reviewer, reason string, t time.Time) Leaf {
	return Leaf{
		Authors: slices.Clone(authors), Document: hash, Name: string(name), Position: position, Reason: reason,
		Reviewer: reviewer, Revision: revision, Time: t.UTC().Format(time.RFC3339Nano), Withdrawn: withdrawn,
	}
}

// Bytes gives the canonical JSON of the leaf. The fields stand in the order
// RFC 8785 wants, and the encoder escapes nothing that it would not.
func (l Leaf) Bytes() []byte {
	if l.Authors == nil {
		l.Authors = []string{}
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(l); err != nil {
		// Strings, integers and a list of strings always encode.
		return nil
	}
	out := bytes.TrimSuffix(b.Bytes(), []byte("\n"))
	// encoding/json escapes the two line separators, RFC 8785 does not.
	out = bytes.ReplaceAll(out, []byte(`\u2028`), []byte("\u2028"))
	return bytes.ReplaceAll(out, []byte(`\u2029`), []byte("\u2029"))
}

// ParseLeaf reads a leaf and refuses bytes that are not its canonical form.
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
	return l, nil
}

// Hash gives the leaf's hash in the tree.
func (l Leaf) Hash() tlog.Hash { return tlog.RecordHash(l.Bytes()) }
