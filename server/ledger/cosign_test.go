package ledger

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
)

// A cosignature is as c2sp.org/tlog-cosignature writes it (version 1, from memory): its
// key id is the first four bytes of SHA-256(name, 0x0a, 0x04, key), its bytes are the
// time in 8 bytes and an Ed25519 signature of "cosignature/v1", the time and the note.
func TestCosignature(t *testing.T) {
	private, public, err := note.GenerateKey(rand.Reader, "workshop.example/demo")
	if err != nil {
		t.Fatal(err)
	}
	signer, _ := note.NewSigner(private)
	library, _ := note.NewVerifier(public)
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	checkpoint := Checkpoint{Origin: "workshop.example/demo", Size: 3, Position: 2, Time: now}
	signed, err := Sign(checkpoint, signer)
	if err != nil {
		t.Fatal(err)
	}
	witness := func(name string, at time.Time) (*Cosigner, *Witness) {
		secret, public, err := NewCosigner(name)
		if err != nil {
			t.Fatal(err)
		}
		c, err := ParseCosigner(secret, func() time.Time { return at })
		if err != nil || c.Key() != public {
			t.Fatal(err, c.Key(), public)
		}
		w, err := ParseWitness(public)
		if err != nil {
			t.Fatal(err)
		}
		return c, w
	}
	c, w := witness("witness.example/north", now)
	noted, err := c.Cosign(signed, library)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Open(noted, library); err != nil || got != checkpoint {
		t.Errorf("the library's signature under it: %v, %v", got, err)
	}
	if at, ok := w.Seen(noted); !ok || !at.Equal(now) {
		t.Errorf("seen at %s, %t", at, ok)
	}
	// By hand, from the last line.
	lines := strings.Split(strings.TrimSpace(string(noted)), "\n")
	_, text, _ := strings.Cut(lines[len(lines)-1], "— witness.example/north ")
	b, err := base64.StdEncoding.DecodeString(text)
	if err != nil || len(b) != 4+8+64 {
		t.Fatalf("signature line %q: %v", lines[len(lines)-1], err)
	}
	message := fmt.Sprintf("cosignature/v1\ntime %d\n%s", now.Unix(), checkpoint.Text())
	if binary.BigEndian.Uint64(b[4:]) != uint64(now.Unix()) || !ed25519.Verify(w.key, []byte(message), b[12:]) {
		t.Error("the signature is not what the standard says")
	}
	if _, err := c.Cosign(append(signed[:0:0], strings.Replace(string(signed), "\n3\n", "\n4\n", 1)...), library); err == nil {
		t.Error("what the library did not sign is cosigned")
	}
	for _, forged := range []string{strings.Replace(string(noted), "\n3\n", "\n4\n", 1), string(signed)} {
		if _, ok := w.Seen([]byte(forged)); ok {
			t.Errorf("seen in %q", forged)
		}
	}

	c2, w2 := witness("witness.example/south", now.Add(-48*time.Hour))
	old, err := c2.Cosign(signed, library)
	if err != nil {
		t.Fatal(err)
	}
	c3, w3 := witness("witness.example/east", now.Add(time.Hour))
	future, err := c3.Cosign(signed, library)
	if err != nil {
		t.Fatal(err)
	}
	_, stranger := witness("witness.example/north", now) // of the same name
	for _, q := range []struct {
		what string
		k    int
		of   []*Witness
		in   [][]byte
		age  time.Duration
		ok   bool
	}{
		{"one of one", 1, []*Witness{w}, [][]byte{noted}, time.Hour, true},
		{"two of two", 2, []*Witness{w, w2}, [][]byte{noted, old}, 0, true},
		{"one too old", 2, []*Witness{w, w2}, [][]byte{noted, old}, 24 * time.Hour, false},
		{"one of two", 1, []*Witness{w, w2}, [][]byte{noted, old}, 24 * time.Hour, true},
		{"in the future", 1, []*Witness{w3}, [][]byte{future}, time.Hour, false},
		{"one named twice", 2, []*Witness{w, w}, [][]byte{noted}, time.Hour, false},
		{"another key of the name", 1, []*Witness{stranger}, [][]byte{noted}, time.Hour, false},
		{"nobody", 1, []*Witness{w}, [][]byte{signed}, time.Hour, false},
	} {
		if err := Quorum(q.k, q.of, q.in, now, q.age); (err == nil) != q.ok {
			t.Errorf("%s: %v", q.what, err)
		}
	}
	for _, bad := range []string{"", "x", "PRIVATE+WITNESS+a+AAAA", public} {
		if _, err := ParseCosigner(bad, time.Now); err == nil {
			t.Errorf("%q is a witness's secret", bad)
		}
		if _, err := ParseWitness(bad); err == nil {
			t.Errorf("%q is a witness's key", bad)
		}
	}
	if _, _, err := NewCosigner("two words"); err == nil {
		t.Error("a name with a space")
	}
}
