// Package rfc6962 is a second verifier, for tests: hash trees and their proofs by the
// recursive definitions of RFC 6962, section 2.1, and signed notes by the C2SP text,
// with the standard library alone. What package ledger and a running server say is
// held against it; it shares no line with either.
package rfc6962

import (
	"bytes"
	"crypto/sha256"
	"errors"
)

// Hash is SHA-256, the hash of RFC 6962.
type Hash = [32]byte

// Leaf is the hash of a leaf: SHA-256(0x00 || d).
func Leaf(d []byte) Hash { return sha256.Sum256(append([]byte{0}, d...)) }

// node is the hash of two subtrees: SHA-256(0x01 || left || right).
func node(left, right Hash) Hash {
	return sha256.Sum256(bytes.Join([][]byte{{1}, left[:], right[:]}, nil))
}

// split is the largest power of two smaller than n, for n > 1.
func split(n int) int {
	k := 1
	for k*2 < n {
		k *= 2
	}
	return k
}

// MTH is the Merkle tree hash of leaf hashes.
func MTH(d []Hash) Hash {
	switch n := len(d); n {
	case 0:
		return sha256.Sum256(nil)
	case 1:
		return d[0]
	default:
		k := split(n)
		return node(MTH(d[:k]), MTH(d[k:]))
	}
}

// Path is PATH(m, D[n]), the audit path of leaf m.
func Path(m int, d []Hash) []Hash {
	if len(d) <= 1 {
		return nil
	}
	if k := split(len(d)); m < k {
		return append(Path(m, d[:k]), MTH(d[k:]))
	} else {
		return append(Path(m-k, d[k:]), MTH(d[:k]))
	}
}

// Proof is PROOF(m, D[n]), the consistency proof of the first m leaves, 0 < m <= n.
func Proof(m int, d []Hash) []Hash { return subproof(m, d, true) }

func subproof(m int, d []Hash, whole bool) []Hash {
	n := len(d)
	switch {
	case m == n && whole:
		return nil
	case m == n:
		return []Hash{MTH(d)}
	}
	if k := split(n); m <= k {
		return append(subproof(m, d[:k], whole), MTH(d[k:]))
	} else {
		return append(subproof(m-k, d[k:], false), MTH(d[:k]))
	}
}

// Included says whether a path shows that leaf m of n has a hash, under a root: it
// walks PATH's definition backwards.
func Included(path []Hash, m, n int, leaf, root Hash) error {
	if m < 0 || m >= n {
		return errors.New("there is no such leaf")
	}
	got, err := climb(path, m, n, leaf)
	if err == nil && got != root {
		err = errors.New("path leads to another root")
	}
	return err
}

func climb(path []Hash, m, n int, leaf Hash) (Hash, error) {
	if n == 1 {
		if len(path) != 0 {
			return Hash{}, errors.New("path is too long")
		}
		return leaf, nil
	}
	if len(path) == 0 {
		return Hash{}, errors.New("path is too short")
	}
	rest, last := path[:len(path)-1], path[len(path)-1]
	k := split(n)
	if m < k {
		left, err := climb(rest, m, k, leaf)
		return node(left, last), err
	}
	right, err := climb(rest, m-k, n-k, leaf)
	return node(last, right), err
}

// Consistent says whether a proof shows that the tree of m leaves with a root is the
// beginning of the tree of n leaves with another: it walks SUBPROOF's definition
// backwards, rebuilding both roots.
func Consistent(proof []Hash, m, n int, old, new Hash) error {
	if m < 1 || m > n {
		return errors.New("there are no such trees")
	}
	o, w, err := rebuild(proof, m, n, true, old)
	if err == nil && (o != old || w != new) {
		err = errors.New("proof leads to other roots")
	}
	return err
}

func rebuild(proof []Hash, m, n int, whole bool, old Hash) (o, w Hash, err error) {
	if m == n {
		switch {
		case whole && len(proof) == 0:
			return old, old, nil
		case !whole && len(proof) == 1:
			return proof[0], proof[0], nil
		}
		return o, w, errors.New("proof has another length")
	}
	if len(proof) == 0 {
		return o, w, errors.New("proof is too short")
	}
	rest, last := proof[:len(proof)-1], proof[len(proof)-1]
	if k := split(n); m <= k {
		o, w, err = rebuild(rest, m, k, whole, old)
		return o, node(w, last), err
	} else {
		o, w, err = rebuild(rest, m-k, n-k, false, old)
		return node(last, o), node(last, w), err
	}
}
