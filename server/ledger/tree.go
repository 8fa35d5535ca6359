package ledger

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Hashes reads stored hashes by tlog's index. Stores implement it over their
// table; the indices asked for are below tlog.StoredHashCount of the tree size.
type Hashes = tlog.HashReader

// Grow returns the hashes to store when leaves are appended behind the first size
// leaves. The first returned hash has index tlog.StoredHashCount(size). It fails
// when stored hashes cannot be read.
func Grow(size int64, leaves []Leaf, stored Hashes) ([]tlog.Hash, error) {
	base := tlog.StoredHashCount(size)
	var fresh []tlog.Hash
	read := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		var ask []int64
		var at []int
		for i, x := range indexes {
			if x >= base {
				out[i] = fresh[x-base]
				continue
			}
			ask, at = append(ask, x), append(at, i)
		}
		if len(ask) == 0 {
			return out, nil
		}
		got, err := stored.ReadHashes(ask)
		if err != nil {
			return nil, err
		}
		for i, h := range got {
			out[at[i]] = h
		}
		return out, nil
	})
	for i, l := range leaves {
		hs, err := tlog.StoredHashesForRecordHash(size+int64(i), l.Hash(), read)
		if err != nil {
			return nil, fmt.Errorf("ledger cannot grow behind leaf %d: %w", size+int64(i), err)
		}
		fresh = append(fresh, hs...)
	}
	return fresh, nil
}

// Root returns the root of the tree of the first size leaves.
func Root(size int64, stored Hashes) (tlog.Hash, error) {
	h, err := tlog.TreeHash(size, stored)
	if err != nil {
		return h, fmt.Errorf("root of the tree of %d leaves: %w", size, err)
	}
	return h, nil
}

// Memory is the hashes of a tree in memory, for building one from leaves: the
// offline verifier and tests use it. The zero Memory is an empty tree.
type Memory struct {
	size   int64
	hashes []tlog.Hash
}

// Append adds leaves.
func (m *Memory) Append(leaves ...Leaf) error {
	hs, err := Grow(m.size, leaves, m)
	if err != nil {
		return err
	}
	m.hashes = append(m.hashes, hs...)
	m.size += int64(len(leaves))
	return nil
}

// Size returns the number of leaves.
func (m *Memory) Size() int64 { return m.size }

// ReadHashes implements Hashes.
func (m *Memory) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		if x < 0 || x >= int64(len(m.hashes)) {
			return nil, fmt.Errorf("ledger hash %d is not stored; there are %d", x, len(m.hashes))
		}
		out[i] = m.hashes[x]
	}
	return out, nil
}
