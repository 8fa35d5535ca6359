package ledger_test

import (
	"bytes"
	"encoding/json"
	"testing"

	"proofload/server/ledger"
	"proofload/server/ledger/rfc6962"
)

// Whatever ParseLeaf takes is the one spelling of it.
func FuzzParseLeaf(f *testing.F) {
	f.Add(leafOf(0).Bytes())
	f.Add([]byte(`{"authors":[],"document":"","name":"","position":"1","reason":"\u2028\\u2028","reviewer":"","revision":"1","time":"","withdrawn":true}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		l, err := ledger.ParseLeaf(b)
		if err != nil {
			return
		}
		if !bytes.Equal(l.Bytes(), b) || !json.Valid(b) {
			t.Fatalf("%q was read as %q", b, l.Bytes())
		}
	})
}

func FuzzParseCheckpoint(f *testing.F) {
	m, _ := grown(f, 3)
	f.Add(checkpoint(f, m, 3).Text())
	f.Add("a\n0\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\nposition 0\ntime 0001-01-01T00:00:00Z\n")
	f.Fuzz(func(t *testing.T, s string) {
		if c, err := ledger.ParseCheckpoint(s); err == nil && c.Text() != s {
			t.Fatalf("%q was read as %q", s, c.Text())
		}
	})
}

// A note that one verifier opens, the other opens to the same text. The second one
// knows nothing of checkpoints, so it may open more.
func FuzzOpen(f *testing.F) {
	m, _ := grown(f, 3)
	s, v := keys(f)
	signed, err := ledger.Sign(checkpoint(f, m, 3), s)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(signed)
	f.Add(append(signed, "— other AAAAAAAA\n"...))
	f.Add([]byte("\n\n— PeterNeumann x08go\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := ledger.Open(b, v)
		if err != nil {
			return
		}
		text, err := rfc6962.OpenNote(b, "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW")
		if err != nil || text != c.Text() {
			t.Fatalf("%q: one verifier opens it as %q, the other as %q, %v", b, c.Text(), text, err)
		}
	})
}

// A proof file either proves the leaf that it was made for, or nothing.
func FuzzProof(f *testing.F) {
	good := proofFile(f)
	f.Add(good)
	f.Add([]byte(`{"leaf":"e30=","hashes":[null],"checkpoint":"x"}`))
	_, v := keys(f)
	want := leafOf(2).Hash()
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := ledger.ParseProof(b)
		if err != nil {
			return
		}
		if l, _, err := p.Check(v); err == nil && l.Hash() != want {
			t.Fatalf("%q proves %s", b, l.Bytes())
		}
	})
}

func FuzzGrowth(f *testing.F) {
	f.Add([]byte(`{"from_size":"1","hashes":[],"checkpoint":"x"}`))
	_, v := keys(f)
	m, _ := grown(f, 2)
	older := checkpoint(f, m, 2)
	f.Fuzz(func(t *testing.T, b []byte) {
		g, err := ledger.ParseGrowth(b)
		if err != nil {
			return
		}
		if c, err := g.Check(older, v); err == nil {
			t.Fatalf("%q proves growth to %s", b, c.Text())
		}
	})
}
