package ledger_test

import (
	"encoding/hex"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"proofload/server/ledger"
	"proofload/server/ledger/rfc6962"
)

// The reference inputs, roots and proofs of RFC 6962 trees, as published in
// transparency-dev/merkle, testonly/constants.go and reference_test.go (before that
// in google/certificate-transparency).
var (
	refInputs = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	refRoots  = []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	refPaths = []struct {
		index, size int64
		path        string
	}{
		{0, 1, ""},
		{0, 2, "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7"},
		{1, 2, "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"},
		{2, 3, "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"},
		{1, 5, "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d 5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"},
		{0, 8, "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7 5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e 6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"},
		{5, 8, "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0 d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"},
	}
	refGrowths = []struct {
		from, to int64
		proof    string
	}{
		{1, 1, ""},
		{1, 8, "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7 5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e 6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"},
		{2, 5, "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"},
		{6, 8, "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0 d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"},
	}
)

func unhex(t *testing.T, s string) (out []tlog.Hash) {
	t.Helper()
	for _, f := range strings.Fields(s) {
		b, err := hex.DecodeString(f)
		if err != nil || len(b) != tlog.HashSize {
			t.Fatalf("%q is no hash", f)
		}
		out = append(out, tlog.Hash(b))
	}
	return out
}

// hashesOf keeps the stored hashes of leaves that are given by their hash.
func hashesOf(t interface{ Fatal(...any) }, leaves []tlog.Hash) tlog.HashReaderFunc {
	var stored []tlog.Hash
	read := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		for i, x := range indexes {
			out[i] = stored[x]
		}
		return out, nil
	})
	for i, l := range leaves {
		hs, err := tlog.StoredHashesForRecordHash(int64(i), l, read)
		if err != nil {
			t.Fatal(err)
		}
		stored = append(stored, hs...)
	}
	return read
}

// Both verifiers give the published roots and proofs, and accept them.
func TestReferenceVectors(t *testing.T) {
	var leaves []tlog.Hash
	var second []rfc6962.Hash
	for _, in := range refInputs {
		b, err := hex.DecodeString(in)
		if err != nil {
			t.Fatal(err)
		}
		leaves, second = append(leaves, tlog.RecordHash(b)), append(second, rfc6962.Leaf(b))
	}
	read := hashesOf(t, leaves)
	root := func(n int64) tlog.Hash { return unhex(t, refRoots[n])[0] }
	for n, want := range refRoots {
		got, err := ledger.Root(int64(n), read)
		if err != nil || hex.EncodeToString(got[:]) != want {
			t.Errorf("root of %d leaves is %x, %v; want %s", n, got, err, want)
		}
		if got := rfc6962.MTH(second[:n]); hex.EncodeToString(got[:]) != want {
			t.Errorf("second verifier: root of %d leaves is %x, want %s", n, got, want)
		}
	}
	for _, c := range refPaths {
		want := unhex(t, c.path)
		got, err := ledger.ProveLeaf(c.size, c.index, read)
		if err != nil || !slices.Equal(got, tlog.RecordProof(want)) {
			t.Errorf("path of %d in %d is %x, %v; want %x", c.index, c.size, got, err, want)
		}
		if err := tlog.CheckRecord(want, c.size, root(c.size), c.index, leaves[c.index]); err != nil {
			t.Errorf("path of %d in %d: %v", c.index, c.size, err)
		}
		if got := rfc6962.Path(int(c.index), second[:c.size]); !slices.Equal(got, plain(want)) {
			t.Errorf("second verifier: path of %d in %d is %x, want %x", c.index, c.size, got, want)
		}
		if err := rfc6962.Included(plain(want), int(c.index), int(c.size), second[c.index], rfc6962.Hash(root(c.size))); err != nil {
			t.Errorf("second verifier: path of %d in %d: %v", c.index, c.size, err)
		}
	}
	for _, c := range refGrowths {
		want := unhex(t, c.proof)
		got, err := ledger.ProveGrowth(c.from, c.to, read)
		if err != nil || !slices.Equal(got, tlog.TreeProof(want)) {
			t.Errorf("growth from %d to %d is %x, %v; want %x", c.from, c.to, got, err, want)
		}
		if err := tlog.CheckTree(want, c.to, root(c.to), c.from, root(c.from)); err != nil {
			t.Errorf("growth from %d to %d: %v", c.from, c.to, err)
		}
		if got := rfc6962.Proof(int(c.from), second[:c.to]); !slices.Equal(got, plain(want)) {
			t.Errorf("second verifier: growth from %d to %d is %x, want %x", c.from, c.to, got, want)
		}
		if err := rfc6962.Consistent(plain(want), int(c.from), int(c.to), rfc6962.Hash(root(c.from)), rfc6962.Hash(root(c.to))); err != nil {
			t.Errorf("second verifier: growth from %d to %d: %v", c.from, c.to, err)
		}
	}
}

func plain(hs []tlog.Hash) []rfc6962.Hash {
	var out []rfc6962.Hash
	for _, h := range hs {
		out = append(out, rfc6962.Hash(h))
	}
	return out
}

// The two verifiers agree about trees of random leaves: on the proof of every leaf at
// every size, on the growth between every two sizes, and on what is not one.
func TestTwoVerifiersAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOfN(rapid.SliceOfN(rapid.Byte(), 0, 40), 1, 24).Draw(t, "leaves")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		var leaves []tlog.Hash
		var second []rfc6962.Hash
		for _, d := range data {
			leaves, second = append(leaves, tlog.RecordHash(d)), append(second, rfc6962.Leaf(d))
		}
		read := hashesOf(t, leaves)
		roots := make([]tlog.Hash, len(leaves)+1)
		for n := range roots {
			var err error
			if roots[n], err = ledger.Root(int64(n), read); err != nil {
				t.Fatal(err)
			}
			if roots[n] != tlog.Hash(rfc6962.MTH(second[:n])) {
				t.Fatalf("roots of %d leaves differ", n)
			}
		}
		for n := 1; n <= len(leaves); n++ {
			for i := range n {
				path, err := ledger.ProveLeaf(int64(n), int64(i), read)
				if err != nil || !slices.Equal(plain(path), rfc6962.Path(i, second[:n])) {
					t.Fatalf("paths of %d in %d differ: %v", i, n, err)
				}
				if err := rfc6962.Included(plain(path), i, n, second[i], rfc6962.Hash(roots[n])); err != nil {
					t.Fatal(err)
				}
				bad := spoil(random, path)
				one := tlog.CheckRecord(bad, int64(n), roots[n], int64(i), leaves[i])
				two := rfc6962.Included(plain(bad), i, n, second[i], rfc6962.Hash(roots[n]))
				if one == nil || two == nil {
					t.Fatalf("spoilt path of %d in %d: %v, %v", i, n, one, two)
				}
			}
			for m := 1; m <= n; m++ {
				proof, err := ledger.ProveGrowth(int64(m), int64(n), read)
				if err != nil || !slices.Equal(plain(proof), rfc6962.Proof(m, second[:n])) {
					t.Fatalf("growths from %d to %d differ: %v", m, n, err)
				}
				if err := rfc6962.Consistent(plain(proof), m, n, rfc6962.Hash(roots[m]), rfc6962.Hash(roots[n])); err != nil {
					t.Fatal(err)
				}
				bad := spoil(random, proof)
				one := tlog.CheckTree(bad, int64(n), roots[n], int64(m), roots[m])
				two := rfc6962.Consistent(plain(bad), m, n, rfc6962.Hash(roots[m]), rfc6962.Hash(roots[n]))
				if one == nil || two == nil {
					t.Fatalf("spoilt growth from %d to %d: %v, %v", m, n, one, two)
				}
			}
		}
	})
}

// spoil flips a bit, drops a hash, doubles one or adds one.
func spoil(random *rand.Rand, proof []tlog.Hash) []tlog.Hash {
	out := slices.Clone(proof)
	at := 0
	if len(out) > 0 {
		at = random.IntN(len(out))
	}
	switch how := random.IntN(4); {
	case len(out) == 0 || how == 0:
		return append(out, tlog.Hash{1})
	case how == 1:
		return slices.Delete(out, at, at+1)
	case how == 2:
		return slices.Insert(out, at, out[at])
	default:
		out[at][random.IntN(tlog.HashSize)] ^= 1 << random.IntN(8)
		return out
	}
}

// The example of golang.org/x/mod/sumdb/note, example_test.go, and the one of
// c2sp.org/signed-note, whose key is not printed there.
func TestSecondNoteVerifier(t *testing.T) {
	const (
		skey   = "PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz"
		vkey   = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
		text   = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
		signed = text + "\n— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n"
	)
	if got, err := rfc6962.OpenNote([]byte(signed), vkey); err != nil || got != text {
		t.Errorf("published note gives %q, %v", got, err)
	}
	signer, err := note.NewSigner(skey)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := note.Sign(&note.Note{Text: text}, signer); err != nil || string(again) != signed {
		t.Errorf("signing is not deterministic: %s, %v", again, err)
	}
	for i := range signed {
		bad := []byte(signed)
		bad[i] ^= 1
		if _, err := rfc6962.OpenNote(bad, vkey); err == nil {
			t.Errorf("a bit of byte %d flipped goes unseen", i)
		}
	}
	if _, err := rfc6962.OpenNote([]byte(signed), strings.Replace(vkey, "c74f20a3", "c74f20a4", 1)); err == nil {
		t.Error("a key with another id is accepted")
	}
	const foreign = "Ognuno sta solo sul cuor della terra\ntrafitto da un raggio di sole:\n\ned è subito sera.\n\n— quasimodo.example/salvatore NnugSzTjtVAewIS+Z/iJhUPeFDkO/5QQ2i5ddnGITLlC+EhfLW9oJKONrMouFSQU0xMcXxj99ihAQwaqP3ZekRwNtIc=\n"
	if _, err := rfc6962.OpenNote([]byte(foreign), vkey); err == nil || !strings.Contains(err.Error(), "not signed by PeterNeumann") {
		t.Errorf("a note of another signer gives %v", err)
	}
}
