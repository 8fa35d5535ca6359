package storetest

import (
	"cmp"
	"context"
	"crypto/sha256"
	"slices"

	"proofload/server/ledger"
	"proofload/server/store"
)

// The reference's ledger and notes.

type noteName struct{ space, key string }

func (m *reference) HeadAt(_ context.Context, at int64) (h store.Head, err error) {
	if err := m.reach(at); err != nil || at == 0 {
		return h, err
	}
	h = store.Head{Position: at, Time: m.times[at-1]}
	for _, r := range m.log {
		if r.Position <= at {
			h.Revisions++
		}
	}
	return h, nil
}

func (m *reference) Leaf(_ context.Context, index int64) (*store.Revision, error) {
	if index < 0 {
		return nil, store.ErrInvalid
	}
	if index >= int64(len(m.log)) {
		return nil, store.ErrFuture
	}
	return m.log[index], nil
}

func (m *reference) Hashes(_ context.Context, indexes []int64) ([][32]byte, error) {
	places := storedHashes(len(m.log))
	hashes := make([][32]byte, len(indexes))
	for i, x := range indexes {
		if x < 0 {
			return nil, store.ErrInvalid
		}
		if x >= int64(len(places)) {
			return nil, store.ErrFuture
		}
		hashes[i] = treeHash(m.log[places[x].from:places[x].to])
	}
	return hashes, nil
}

// stretch is the leaves of a complete subtree.
type stretch struct{ from, to int }

// storedHashes returns the subtrees whose hashes are stored for a tree of so many
// leaves, in the order of their numbers: with every leaf the subtrees that it
// completes, the smallest first.
func storedHashes(leaves int) (places []stretch) {
	for to := 1; to <= leaves; to++ {
		for size := 1; to%size == 0; size *= 2 {
			places = append(places, stretch{to - size, to})
		}
	}
	return places
}

// treeHash is the Merkle tree hash of RFC 6962, section 2.1, as it is there.
func treeHash(rs []*store.Revision) [32]byte {
	switch len(rs) {
	case 0:
		return sha256.Sum256(nil)
	case 1:
		r := rs[0]
		l := ledger.NewLeaf(r.Name, r.Number, r.Position, r.Hash, r.Withdrawn, r.Authors, r.Reviewer, r.Reason, r.Time)
		return sha256.Sum256(append([]byte{0}, l.Bytes()...))
	}
	k := 1 // the largest power of two smaller than their number
	for 2*k < len(rs) {
		k *= 2
	}
	left, right := treeHash(rs[:k]), treeHash(rs[k:])
	return sha256.Sum256(slices.Concat([]byte{1}, left[:], right[:]))
}

func (m *reference) WriteNotes(_ context.Context, writes []store.NoteWrite) error {
	if err := store.ValidateNotes(writes); err != nil {
		return err
	}
	fresh := make([]*store.Note, len(writes))
	for i, w := range writes {
		version := int64(0)
		if old := m.notes[noteName{w.Space, w.Key}]; old != nil {
			version = old.Version
		}
		if w.Base != store.AnyVersion && w.Base != version || w.Version != 0 && w.Version <= version {
			return &store.NoteConflict{Space: w.Space, Key: w.Key, Base: w.Base, Current: version}
		}
		terms := slices.Sorted(slices.Values(w.Terms))
		fresh[i] = &store.Note{Space: w.Space, Key: w.Key, Version: cmp.Or(w.Version, version+1), Terms: slices.Compact(append([]string{}, terms...)), Body: w.Body, Time: w.Time.UTC()}
	}
	for _, n := range fresh {
		if name := (noteName{n.Space, n.Key}); n.Body == nil {
			delete(m.notes, name)
		} else {
			m.notes[name] = n
		}
	}
	return nil
}

func (m *reference) GetNote(_ context.Context, space, key string) (*store.Note, error) {
	if n := m.notes[noteName{space, key}]; n != nil {
		return n, nil
	}
	return nil, store.ErrNotFound
}

func (m *reference) ListNotes(_ context.Context, q store.NoteQuery) ([]*store.Note, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	ns := []*store.Note{}
	for _, n := range m.notes {
		if n.Space == q.Space && (q.Term == "" || slices.Contains(n.Terms, q.Term)) &&
			(q.After == "" || n.Key > q.After && !q.Descending || n.Key < q.After && q.Descending) {
			ns = append(ns, n)
		}
	}
	slices.SortFunc(ns, func(a, b *store.Note) int {
		if q.Descending {
			a, b = b, a
		}
		return cmp.Compare(a.Key, b.Key)
	})
	return ns[:min(len(ns), q.Limit)], nil
}

func (m *reference) NoteSpaces(context.Context) ([]string, error) {
	spaces := []string{}
	for name := range m.notes {
		spaces = append(spaces, name.space)
	}
	slices.Sort(spaces)
	return slices.Compact(spaces), nil
}
