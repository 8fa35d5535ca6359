package ledger

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Edge is the right edge of a tree: the roots of the largest complete subtrees that
// it is made of, largest first, one for every bit of its size. It is all that growing
// the tree needs, and all that tells its root. An Edge is never changed, only
// replaced. The zero Edge is that of the empty tree.
type Edge struct {
	Size   int64
	Hashes []tlog.Hash
}

// EdgeIndexes returns the indexes of the stored hashes that are the edge of a tree.
func EdgeIndexes(size int64) []int64 {
	var xs []int64
	for level := 62; level >= 0; level-- {
		if n := size >> level; n&1 == 1 {
			xs = append(xs, tlog.StoredHashIndex(level, n-1))
		}
	}
	return xs
}

// ReadEdge reads the edge of the tree of the first size leaves.
func ReadEdge(size int64, stored Hashes) (Edge, error) {
	if size == 0 {
		return Edge{}, nil
	}
	hashes, err := stored.ReadHashes(EdgeIndexes(size))
	return Edge{size, hashes}, err
}

// ParseEdge reads an edge as Bytes writes it.
func ParseEdge(size int64, b []byte) (Edge, error) {
	e := Edge{Size: size}
	if want := len(EdgeIndexes(size)) * tlog.HashSize; len(b) != want {
		return e, fmt.Errorf("edge of the ledger's tree of %d leaves has %d bytes, want %d", size, len(b), want)
	}
	for ; len(b) > 0; b = b[tlog.HashSize:] {
		e.Hashes = append(e.Hashes, tlog.Hash(b[:tlog.HashSize]))
	}
	return e, nil
}

// Bytes returns the hashes of the edge, one behind the other.
func (e Edge) Bytes() []byte { return join(e.Hashes) }

func join(hashes []tlog.Hash) []byte {
	b := make([]byte, 0, len(hashes)*tlog.HashSize)
	for _, h := range hashes {
		b = append(b, h[:]...)
	}
	return b
}

// Root returns the root of the tree.
func (e Edge) Root() (tlog.Hash, error) { return Root(e.Size, e) }

// ReadHashes implements Hashes for the hashes at the edge; any other is an error.
func (e Edge) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	at := make(map[int64]int, len(e.Hashes))
	for i, x := range EdgeIndexes(e.Size) {
		at[x] = i
	}
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		j, ok := at[x]
		if !ok || j >= len(e.Hashes) {
			return nil, fmt.Errorf("ledger hash %d is not at the edge of the tree of %d leaves", x, e.Size)
		}
		out[i] = e.Hashes[j]
	}
	return out, nil
}

// Grow appends leaves. It returns, for each of them, the hashes of the subtrees that
// it completes, its own first, 32 bytes each, and the edge of the larger tree.
func (e Edge) Grow(leaves []Leaf) (completed [][]byte, next Edge, err error) {
	fresh, err := Grow(e.Size, leaves, e)
	if err != nil {
		return nil, e, err
	}
	base := tlog.StoredHashCount(e.Size)
	next = Edge{Size: e.Size + int64(len(leaves))}
	for _, x := range EdgeIndexes(next.Size) {
		if x >= base {
			next.Hashes = append(next.Hashes, fresh[x-base])
			continue
		}
		old, err := e.ReadHashes([]int64{x})
		if err != nil {
			return nil, e, err
		}
		next.Hashes = append(next.Hashes, old...)
	}
	for i := range leaves {
		n := Completes(e.Size + int64(i))
		completed, fresh = append(completed, join(fresh[:n])), fresh[n:]
	}
	return completed, next, nil
}

// Completes counts the subtrees that the leaf at an index completes, itself among them.
func Completes(index int64) int {
	n := 1
	for ; index&1 == 1; index >>= 1 {
		n++
	}
	return n
}
