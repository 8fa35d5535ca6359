package ledger_test

import (
	"encoding/base64"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"proofload/server/ledger"
	"proofload/server/ledger/rfc6962"
	"proofload/specdata"
)

var noon = time.Date(2026, 9, 14, 12, 0, 0, 0, time.UTC)

const someHash = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08" // SHA-256 of "test"

// leafOf returns the i-th leaf of an invented history, one revision a position.
func leafOf(i int) ledger.Leaf {
	return ledger.NewLeaf(specdata.Name("fasteners/nut-"+string(rune('a'+i%26))), int64(1+i/26), int64(i+1), someHash, i%7 == 6, []string{"maud"}, "ines", "entered", noon.Add(time.Duration(i)*time.Minute))
}

// grown returns the tree of n leaves.
func grown(t testing.TB, n int) (*ledger.Memory, []ledger.Leaf) {
	t.Helper()
	m := &ledger.Memory{}
	var leaves []ledger.Leaf
	for i := range n {
		leaves = append(leaves, leafOf(i))
	}
	if err := m.Append(leaves...); err != nil {
		t.Fatal(err)
	}
	return m, leaves
}

func keys(t testing.TB) (note.Signer, note.Verifier) {
	t.Helper()
	// A key of its own for tests; golang.org/x/mod/sumdb/note, example_test.go.
	s, err := note.NewSigner("PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz")
	if err != nil {
		t.Fatal(err)
	}
	v, err := note.NewVerifier("PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW")
	if err != nil {
		t.Fatal(err)
	}
	return s, v
}

func checkpoint(t testing.TB, m *ledger.Memory, size int64) ledger.Checkpoint {
	t.Helper()
	root, err := ledger.Root(size, m)
	if err != nil {
		t.Fatal(err)
	}
	return ledger.Checkpoint{Origin: "PeterNeumann", Size: size, Root: root, Position: size, Time: noon.Add(time.Duration(size-1) * time.Minute)}
}

func TestLeafGolden(t *testing.T) {
	l := ledger.NewLeaf("fasteners/nut", 2, 7, someHash, false, []string{"maud", "jo \"x\""}, "ines", "a \\u2028 line\u2028end\ttab <&>\x01\x7fé", noon)
	want := `{"authors":["maud","jo \"x\""],"document":"` + someHash + `","name":"fasteners/nut","position":"7","reason":"a \\u2028 line` + "\u2028" + `end\ttab <&>\u0001` + "\x7f" + `é","reviewer":"ines","revision":"2","time":"2026-09-14T12:00:00Z","withdrawn":false}`
	if got := string(l.Bytes()); got != want {
		t.Errorf("leaf is\n%s\nwant\n%s", got, want)
	}
	if !l.Is([]byte("test")) || l.Is([]byte("tesu")) {
		t.Error("the leaf does not know its document by its hash")
	}
}

// Leaves are canonical by an RFC 8785 implementation that is not ours, and read back.
func TestLeafIsCanonical(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := ledger.NewLeaf("fasteners/nut", rapid.Int64Range(1, 1<<62).Draw(t, "revision"), rapid.Int64Range(1, 1<<62).Draw(t, "position"), someHash,
			rapid.Bool().Draw(t, "withdrawn"), rapid.SliceOf(rapid.String()).Draw(t, "authors"), rapid.String().Draw(t, "reviewer"), rapid.String().Draw(t, "reason"),
			time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "seconds"), rapid.Int64Range(0, 999_999_999).Draw(t, "nanos")))
		b := l.Bytes()
		other, err := jcs.Transform(b)
		if err != nil || string(other) != string(b) {
			t.Fatalf("another implementation of RFC 8785 gives %q, %v for %q", other, err, b)
		}
		back, err := ledger.ParseLeaf(b)
		if err != nil {
			t.Fatal(err)
		}
		if string(back.Bytes()) != string(b) || back.Hash() != l.Hash() || back.Reason != l.Reason || !slices.Equal(back.Authors, l.Authors) && len(l.Authors) > 0 {
			t.Fatalf("%q reads back as %q", b, back.Bytes())
		}
	})
}

func TestParseLeafRefuses(t *testing.T) {
	good := string(leafOf(0).Bytes())
	if _, err := ledger.ParseLeaf([]byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, old, new, want string }{
		{"a space", `,"name"`, `, "name"`, "canonical"},
		{"another order", `"withdrawn":false}`, `"withdrawn":false,"time":"2026-09-14T12:00:00Z"}`, "canonical"},
		{"an unknown member", `{"authors"`, `{"a":1,"authors"`, "known form"},
		{"more behind it", `false}`, `false} {}`, "canonical"},
		{"a number for a text", `"position":"1"`, `"position":1`, "known form"},
		{"another spelling of a number", `"position":"1"`, `"position":"01"`, ""},
		{"a member in capitals", `"reason"`, `"Reason"`, "canonical"},
		{"null for a list", `["maud"]`, `null`, "canonical"},
		{"an escape that is not needed", `entered`, `e\u006etered`, "canonical"},
		{"no record's name", `fasteners/nut-a`, `bolts/a`, "bolts/a"},
		{"hash in capitals", `9f86`, `9F86`, "lower-case hex"},
		{"hash cut short", someHash, `9f86`, "32 bytes"},
		{"revision 0", `"revision":"1"`, `"revision":"0"`, "count from 1"},
		{"position 0", `"position":"1"`, `"position":"0"`, "count from 1"},
		{"time with an offset", `12:00:00Z`, `14:00:00+02:00`, "UTC"},
		{"no time", `2026-09-14T12:00:00Z`, ``, "RFC 3339"},
	} {
		bad := strings.Replace(good, c.old, c.new, 1)
		if _, err := ledger.ParseLeaf([]byte(bad)); bad == good || err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in the error", c.name, err, c.want)
		}
	}
}

func TestCheckpointGolden(t *testing.T) {
	m, leaves := grown(t, 3)
	c := checkpoint(t, m, 3)
	root := rfc6962.MTH([]rfc6962.Hash{rfc6962.Leaf(leaves[0].Bytes()), rfc6962.Leaf(leaves[1].Bytes()), rfc6962.Leaf(leaves[2].Bytes())})
	if got, want := c.Text(), "PeterNeumann\n3\n"+base64.StdEncoding.EncodeToString(root[:])+"\nposition 3\ntime 2026-09-14T12:02:00Z\n"; got != want {
		t.Errorf("checkpoint is\n%s\nwant\n%s", got, want)
	}
	s, v := keys(t)
	signed, err := ledger.Sign(c, s)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := ledger.Sign(c, s); err != nil || string(again) != string(signed) {
		t.Errorf("signing again gives other bytes: %v", err)
	}
	back, err := ledger.Open(signed, v)
	if err != nil || back.Text() != c.Text() {
		t.Errorf("opened is %+v, %v", back, err)
	}
	for i := range signed {
		for bit := range 8 {
			bad := slices.Clone(signed)
			bad[i] ^= 1 << bit
			if _, err := ledger.Open(bad, v); err == nil {
				t.Errorf("bit %d of byte %d flipped goes unseen", bit, i)
			}
		}
	}
	_, stranger, err := note.GenerateKey(zeros{}, "stranger")
	if err != nil {
		t.Fatal(err)
	}
	other, err := note.NewVerifier(stranger)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ledger.Open(signed, other); err == nil || !strings.Contains(err.Error(), "not signed by stranger") {
		t.Errorf("another's key gives %v", err)
	}
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

func TestParseCheckpointRefuses(t *testing.T) {
	m, _ := grown(t, 3)
	good := checkpoint(t, m, 3).Text()
	lines := strings.Split(good, "\n")
	for _, c := range []struct{ name, text, want string }{
		{"a line more", good + "more\n", "lines"},
		{"a line less", strings.Join(lines[:4], "\n") + "\n", "lines"},
		{"no newline at the end", strings.TrimSuffix(good, "\n"), "lines"},
		{"no origin", strings.Replace(good, "PeterNeumann", "", 1), "canonical"},
		{"size with a sign", strings.Replace(good, "\n3\n", "\n+3\n", 1), "canonical"},
		{"size with a zero", strings.Replace(good, "\n3\n", "\n03\n", 1), "canonical"},
		{"negative size", strings.Replace(good, "\n3\n", "\n-3\n", 1), "canonical"},
		{"no size", strings.Replace(good, "\n3\n", "\nthree\n", 1), "count of leaves"},
		{"root of another length", strings.Replace(good, lines[2], "AAAA", 1), "32 bytes"},
		{"root in another alphabet", strings.Replace(good, lines[2], strings.Repeat("_", 43)+"=", 1), "base64"},
		{"position spelt otherwise", strings.Replace(good, "position 3", "position: 3", 1), "position"},
		{"no position", strings.Replace(good, "position 3", "3", 1), "canonical"},
		{"time with an offset", strings.Replace(good, "12:02:00Z", "14:02:00+02:00", 1), "canonical"},
		{"no time", strings.Replace(good, lines[4], "time noon", 1), "not a time"},
	} {
		if _, err := ledger.ParseCheckpoint(c.text); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in the error", c.name, err, c.want)
		}
	}
}

// Every leaf is proved at every size and every size grows from every smaller one; a
// flipped bit anywhere is refused.
func TestEveryProof(t *testing.T) {
	const most = 40
	m, leaves := grown(t, most)
	s, v := keys(t)
	for size := int64(1); size <= most; size++ {
		c := checkpoint(t, m, size)
		signed, err := ledger.Sign(c, s)
		if err != nil {
			t.Fatal(err)
		}
		for i := range size {
			hashes, err := ledger.ProveLeaf(size, i, m)
			if err != nil {
				t.Fatal(err)
			}
			p := &ledger.Proof{Name: "x", Leaf: leaves[i].Bytes(), Index: i, Hashes: hashes, Checkpoint: string(signed)}
			if l, got, err := p.Check(v); err != nil || l.Hash() != leaves[i].Hash() || got.Text() != c.Text() {
				t.Fatalf("leaf %d of %d: %v", i, size, err)
			}
			p.Index = (i + 1) % size
			if _, _, err := p.Check(v); size > 1 && err == nil {
				t.Fatalf("leaf %d of %d is accepted as leaf %d", i, size, p.Index)
			}
			bad := slices.Clone(hashes)
			for j := range bad {
				bad[j][int(i)%tlog.HashSize] ^= 1 << (size % 8)
				if err := ledger.CheckLeaf(bad, c, i, leaves[i]); err == nil {
					t.Fatalf("leaf %d of %d: a flipped bit of hash %d goes unseen", i, size, j)
				}
				bad[j] = hashes[j]
			}
			other := leaves[i]
			other.Reason += "."
			if err := ledger.CheckLeaf(hashes, c, i, other); err == nil || !strings.Contains(err.Error(), other.Name) {
				t.Fatalf("leaf %d of %d: another reason gives %v", i, size, err)
			}
		}
		for from := int64(1); from <= size; from++ {
			hashes, err := ledger.ProveGrowth(from, size, m)
			if err != nil {
				t.Fatal(err)
			}
			older := checkpoint(t, m, from)
			g := &ledger.Growth{From: from, Hashes: hashes, Checkpoint: string(signed)}
			if _, err := g.Check(older, v); err != nil {
				t.Fatalf("from %d to %d: %v", from, size, err)
			}
			bad := slices.Clone(hashes)
			for j := range bad {
				bad[j][int(from)%tlog.HashSize] ^= 1 << (size % 8)
				if err := ledger.CheckGrowth(bad, older, c); err == nil {
					t.Fatalf("from %d to %d: a flipped bit of hash %d goes unseen", from, size, j)
				}
				bad[j] = hashes[j]
			}
			older.Root[3] ^= 4
			if err := ledger.CheckGrowth(hashes, older, c); err == nil {
				t.Fatalf("from %d to %d: another root goes unseen", from, size)
			}
		}
	}
}

func TestGrowthRefuses(t *testing.T) {
	m, _ := grown(t, 9)
	four, nine := checkpoint(t, m, 4), checkpoint(t, m, 9)
	hashes, err := ledger.ProveGrowth(4, 9, m)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		edit func(older, newer *ledger.Checkpoint)
		want string
	}{
		{"another library", func(o, _ *ledger.Checkpoint) { o.Origin = "elsewhere" }, "two libraries"},
		{"rolled back", func(o, n *ledger.Checkpoint) { *o, *n = *n, *o }, "rolled back"},
		{"empty", func(o, _ *ledger.Checkpoint) { o.Size = 0 }, "empty tree"},
		{"position that did not grow", func(_, n *ledger.Checkpoint) { n.Position = 4 }, "contradict"},
		{"time before", func(_, n *ledger.Checkpoint) { n.Time = noon.Add(-time.Hour) }, "contradict"},
		{"another root", func(_, n *ledger.Checkpoint) { n.Root[0]++ }, "history behind position 9 was changed"},
	} {
		o, n := four, nine
		if c.edit(&o, &n); ledger.CheckGrowth(hashes, o, n) == nil || !strings.Contains(ledger.CheckGrowth(hashes, o, n).Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, ledger.CheckGrowth(hashes, o, n), c.want)
		}
	}
	moved := nine
	moved.Position++
	if err := ledger.CheckGrowth(nil, nine, moved); err == nil || !strings.Contains(err.Error(), "contradict") {
		t.Errorf("one tree at two positions: %v", err)
	}
	if err := ledger.CheckGrowth(nil, nine, nine); err != nil {
		t.Errorf("a checkpoint and itself: %v", err)
	}
	for _, c := range [][2]int64{{0, 4}, {5, 4}, {-1, 4}} {
		if _, err := ledger.ProveGrowth(c[0], c[1], m); err == nil {
			t.Errorf("growth from %d to %d was proved", c[0], c[1])
		}
	}
	for _, i := range []int64{-1, 4, 5} {
		if _, err := ledger.ProveLeaf(4, i, m); err == nil {
			t.Errorf("leaf %d of 4 was proved", i)
		}
	}
	if _, err := ledger.Root(10, m); err == nil {
		t.Error("the root of a tree that is not there was given")
	}
}

// A tree is the same however its leaves were put together.
func TestGrowInPieces(t *testing.T) {
	whole, leaves := grown(t, 30)
	rapid.Check(t, func(t *rapid.T) {
		var m ledger.Memory
		for at := 0; at < len(leaves); {
			n := rapid.IntRange(1, len(leaves)-at).Draw(t, "n")
			if err := m.Append(leaves[at : at+n]...); err != nil {
				t.Fatal(err)
			}
			at += n
		}
		for size := int64(0); size <= 30; size++ {
			a, errA := ledger.Root(size, whole)
			b, errB := ledger.Root(size, &m)
			if errA != nil || errB != nil || a != b {
				t.Fatalf("roots of %d leaves: %v %v, %v %v", size, a, errA, b, errB)
			}
		}
	})
}

func proofFile(t testing.TB) []byte {
	m, leaves := grown(t, 5)
	s, _ := keys(t)
	signed, err := ledger.Sign(checkpoint(t, m, 5), s)
	if err != nil {
		t.Fatal(err)
	}
	hashes, err := ledger.ProveLeaf(5, 2, m)
	if err != nil {
		t.Fatal(err)
	}
	growth, err := ledger.ProveGrowth(2, 5, m)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(ledger.Proof{Name: "fasteners/nut-c/revisions/1/proof", Leaf: leaves[2].Bytes(), Index: 2, Hashes: hashes, Checkpoint: string(signed), Growth: &ledger.Growth{From: 2, Hashes: growth}})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestProofFile(t *testing.T) {
	_, v := keys(t)
	good := proofFile(t)
	p, err := ledger.ParseProof(good)
	if err != nil {
		t.Fatal(err)
	}
	if l, c, err := p.Check(v); err != nil || l.Name != "fasteners/nut-c" || c.Size != 5 {
		t.Errorf("proof gives %+v, %+v, %v", l, c, err)
	}
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "known form"},
		{"unknown member", `{"x":1}`, "known form"},
		{"two answers", string(good) + string(good), "behind its end"},
		{"nothing in it", `{}`, "no leaf"},
		{"a hash cut short", strings.Replace(string(good), `"hashes":["`, `"hashes":["AA","`, 1), "hash"},
	} {
		if _, err := ledger.ParseProof([]byte(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	// A signer that vouches for a leaf of the future contradicts itself.
	future := leafOf(2)
	future.Position = 99
	var m ledger.Memory
	if err := m.Append(future); err != nil {
		t.Fatal(err)
	}
	s, _ := keys(t)
	signed, err := ledger.Sign(checkpoint(t, &m, 1), s)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := (&ledger.Proof{Leaf: future.Bytes(), Checkpoint: string(signed)}).Check(v); err == nil || !strings.Contains(err.Error(), "contradicts itself") {
		t.Errorf("leaf behind its checkpoint: %v", err)
	}
}
