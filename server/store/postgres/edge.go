package postgres

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
)

// edge is the right edge of the ledger's tree: the roots of the largest complete
// subtrees that it is made of, largest first, one for every bit of its size. It is
// all that growing the tree needs, so that a publication reads no other hash.
type edge struct {
	size   int64
	hashes []tlog.Hash
}

// edgeIndexes numbers the hashes of the edge of a tree.
func edgeIndexes(size int64) []int64 {
	var xs []int64
	for level := 62; level >= 0; level-- {
		if n := size >> level; n&1 == 1 {
			xs = append(xs, tlog.StoredHashIndex(level, n-1))
		}
	}
	return xs
}

// parseEdge reads the edge of a tree as it is stored.
func parseEdge(size int64, b []byte) (edge, error) {
	e := edge{size: size}
	if len(b) != len(edgeIndexes(size))*tlog.HashSize {
		return e, fmt.Errorf("ledger: %w: the edge of its tree of %d leaves has %d bytes; restore the database from a backup", store.ErrCorrupt, size, len(b))
	}
	for ; len(b) > 0; b = b[tlog.HashSize:] {
		e.hashes = append(e.hashes, tlog.Hash(b[:tlog.HashSize]))
	}
	return e, nil
}

// bytes gives the edge as it is stored.
func (e edge) bytes() []byte { return join(e.hashes) }

func join(hashes []tlog.Hash) []byte {
	b := make([]byte, 0, len(hashes)*tlog.HashSize)
	for _, h := range hashes {
		b = append(b, h[:]...)
	}
	return b
}

// ReadHashes implements ledger.Hashes for what growing asks for.
func (e edge) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	at := make(map[int64]int, len(e.hashes))
	for i, x := range edgeIndexes(e.size) {
		at[x] = i
	}
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		j, ok := at[x]
		if !ok {
			return nil, fmt.Errorf("ledger hash %d is not at the edge of the tree of %d leaves", x, e.size)
		}
		out[i] = e.hashes[j]
	}
	return out, nil
}

// grow adds leaves. It gives, for each of them, the hashes of the subtrees that it
// completes, and the edge of the larger tree.
func (e edge) grow(leaves []ledger.Leaf) (stored [][]byte, next edge, err error) {
	fresh, err := ledger.Grow(e.size, leaves, e)
	if err != nil {
		return nil, e, err
	}
	base := tlog.StoredHashCount(e.size)
	next = edge{size: e.size + int64(len(leaves))}
	for _, x := range edgeIndexes(next.size) {
		if x >= base {
			next.hashes = append(next.hashes, fresh[x-base])
			continue
		}
		old, err := e.ReadHashes([]int64{x})
		if err != nil {
			return nil, e, err
		}
		next.hashes = append(next.hashes, old...)
	}
	for i := range leaves {
		n := completes(e.size + int64(i))
		stored, fresh = append(stored, join(fresh[:n])), fresh[n:]
	}
	return stored, next, nil
}

// completes counts the subtrees that a leaf completes, itself among them.
func completes(leaf int64) int {
	n := 1
	for ; leaf&1 == 1; leaf >>= 1 {
		n++
	}
	return n
}
