// Package rule decides what may be published: pure functions of the newest state and
// a change. The engines read rows, ask here, and write rows.
package rule

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// Newest is the newest revision of a record.
type Newest struct {
	Number    int64
	Withdrawn bool
}

// Change returns nil if a change may follow a record's newest revision, which is nil
// for a record that has none. Otherwise it returns a *store.Conflict, or ErrNotFound
// for a withdrawal of what is not there.
func Change(c store.Change, newest *Newest) error {
	current := int64(0)
	if newest != nil {
		current = newest.Number
	}
	switch {
	case c.Base != current:
		return &store.Conflict{Name: c.Name, Base: c.Base, Current: current}
	case c.Document != nil:
		return nil
	case newest == nil:
		return fmt.Errorf("record %s: %w: there is nothing to withdraw", c.Name, store.ErrNotFound)
	case newest.Withdrawn:
		return fmt.Errorf("record %s: %w: revision %d withdrew it already", c.Name, store.ErrNotFound, current)
	}
	return nil
}

// Content is a document with what follows from it.
type Content struct {
	Document []byte
	// Hash is the SHA-256 of Document.
	Hash  []byte
	Facts *index.Facts
}

// Read reads a record's document. The error is an ErrInvalid.
func Read(name specdata.Name, document []byte) (Content, error) {
	facts, err := index.Of(name, document)
	sum := sha256.Sum256(document)
	return Content{document, sum[:], facts}, err
}

// Repeat reads the stored document that a withdrawal repeats: the one of the record's
// revision with this number and hash. A document with another hash is ErrCorrupt.
func Repeat(name specdata.Name, number int64, document, hash []byte) (Content, error) {
	c, err := Read(name, document)
	if !bytes.Equal(c.Hash, hash) {
		return Content{}, store.Damaged(name, number)
	}
	return c, err
}

// Head returns the head that a publication of so many revisions makes of another:
// the next position, and a time that is not before that of the last.
func Head(head store.Head, p store.Publication, revisions int) store.Head {
	next := store.Head{Position: head.Position + 1, Revisions: head.Revisions + int64(revisions), Time: p.Time.UTC().Round(0)}
	if head.Position > 0 && next.Time.Before(head.Time) {
		next.Time = head.Time
	}
	return next
}

// Published is a revision of an earlier publication, as Again compares it.
type Published struct {
	Name      specdata.Name
	Number    int64
	Withdrawn bool
	Hash      []byte
}

// Again returns nil if a publication makes the changes that were published before
// under its key, at a position; otherwise an ErrConflict. contents are those of its
// changes, empty for withdrawals.
func Again(p store.Publication, contents []Content, position int64, had []Published) error {
	same := len(had) == len(p.Changes)
	for i := 0; same && i < len(had); i++ {
		h, c := &had[i], &p.Changes[i]
		same = h.Name == c.Name && h.Number == c.Base+1 && h.Withdrawn == (c.Document == nil) && (h.Withdrawn || bytes.Equal(h.Hash, contents[i].Hash))
	}
	if !same {
		return fmt.Errorf("publication key %q: %w: it was used for other changes at position %d; give each publication a key of its own", p.Key, store.ErrConflict, position)
	}
	return nil
}

// Row is one revision as an engine stores it.
type Row struct {
	Content
	Name             specdata.Name
	Number, Position int64
	// Leaf is its index in the ledger, from 0.
	Leaf      int64
	Withdrawn bool
	// Tree is the hashes of the subtrees that the leaf completes, 32 bytes each.
	Tree []byte
}

// Rows returns the revisions of a publication whose changes Change let pass, at the
// head that it makes, and the edge of the ledger's tree behind them. contents are
// those of its changes; of a withdrawal what it repeats.
func Rows(p store.Publication, contents []Content, head store.Head, edge ledger.Edge) ([]Row, ledger.Edge, error) {
	rows := make([]Row, len(p.Changes))
	leaves := make([]ledger.Leaf, len(rows))
	for i, c := range p.Changes {
		rows[i] = Row{Content: contents[i], Name: c.Name, Number: c.Base + 1, Position: head.Position, Leaf: edge.Size + int64(i), Withdrawn: c.Document == nil}
		leaves[i] = ledger.NewLeaf(c.Name, c.Base+1, head.Position, hex.EncodeToString(contents[i].Hash), c.Document == nil, p.Authors, p.Reviewer, p.Reason, head.Time)
	}
	tree, grown, err := edge.Grow(leaves)
	if err != nil {
		return nil, edge, err
	}
	for i := range rows {
		rows[i].Tree = tree[i]
	}
	return rows, grown, nil
}

// Release reports whether a name for a position is new. at is the position that the
// name has already, 0 for none. A position beyond the head is ErrFuture, a name that
// has another position ErrConflict.
func Release(r store.Release, head, at int64) (fresh bool, err error) {
	switch {
	case r.Position > head:
		return false, store.Future(r.Position, head)
	case at == 0:
		return true, nil
	case at != r.Position:
		return false, fmt.Errorf("release %s: %w: it names position %d and cannot name %d as well; choose another name", r.Name, store.ErrConflict, at, r.Position)
	}
	return false, nil
}

// Note returns a write of a note with the version that the note gets and its terms in
// order, each once. current is the version that the note has, 0 for none; a write that
// was made against another, or would not raise it, is a *store.NoteConflict.
func Note(w store.NoteWrite, current int64) (store.NoteWrite, error) {
	if w.Base != store.AnyVersion && w.Base != current || w.Version != 0 && w.Version <= current {
		return w, &store.NoteConflict{Space: w.Space, Key: w.Key, Base: w.Base, Current: current}
	}
	w.Terms = slices.Compact(slices.Sorted(slices.Values(w.Terms)))
	if w.Version == 0 {
		w.Version = current + 1
	}
	return w, nil
}

// Weight is about how much writes of notes write, in revisions.
func Weight(writes []store.NoteWrite) int {
	n := 1
	for _, w := range writes {
		n += 1 + len(w.Body)>>11 + len(w.Terms)>>2
	}
	return n
}
