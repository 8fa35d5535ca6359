package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"proofload/api/client"
	pb "proofload/api/proofload/v1"
	"proofload/server/ledger/rfc6962"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
)

// proving starts a server on a library that changed since its first position:
//
//	2  the hub nut goes from 240 to 250 N·m
//	3  the silencer procedure is withdrawn
//	4  a note of a damper bolt changes, which no sheet prints
//	5  a lower-arm bolt is withdrawn
func proving(t *testing.T) (*running, string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "proving.db")
	s, err := sqlite.Open(t.Context(), file, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := fill(t.Context(), s); err != nil {
		t.Fatal(err)
	}
	edit := func(name specdata.Name, reason, old, new string) {
		t.Helper()
		r, err := s.GetRevision(t.Context(), name, 1)
		if err != nil {
			t.Fatal(err)
		}
		doc := bytes.Replace(r.Document, []byte(old), []byte(new), 1)
		if old == "" {
			doc = nil
		} else if bytes.Equal(doc, r.Document) {
			t.Fatalf("%s has no %q: %s", name, old, r.Document)
		}
		_, err = s.Publish(t.Context(), store.Publication{
			Changes: []store.Change{{Name: name, Base: 1, Document: doc}}, Authors: []string{"maud"}, Reviewer: "ines", Reason: reason, Time: time.Now().UTC(),
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	edit("fasteners/quill-1-rear-hub-nut", "sheet 3 read again", `"stages":[{"also":"177 lbf.ft","torque":"240 N.m"}]`, `"stages":[{"also":"184 lbf.ft","torque":"250 N.m"}]`)
	edit("procedures/dray-2-rear-silencer", "the maker changed the hangers", "", "")
	edit(firstUsed(t, "skerry-1-rear-dampers"), "a note for readers", `,"place":`, `,"note":"Look twice.","place":`)
	edit(firstUsed(t, "tamber-2-front-lower-arm"), "the bolt is not sold any more", "", "")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return start(t, "--store", "sqlite:"+file), file
}

// firstUsed returns the first fastener of a procedure's tightenings that has no note.
func firstUsed(t *testing.T, procedure string) specdata.Name {
	t.Helper()
	lib := demoLibrary(t)
	r := lib.Get(specdata.NewName(specdata.KindProcedure, procedure)).Record
	for _, ref := range specdata.References(r) {
		if e := lib.Get(ref.Name); ref.Name.Kind() == specdata.KindFastener && e != nil && e.Record.Header().Note == "" {
			return ref.Name
		}
	}
	t.Fatalf("%s uses no fastener without a note", procedure)
	return ""
}

// both asks over gRPC and over REST and demands one answer.
func both[M proto.Message](t *testing.T, r *running, path string, fresh M, ask func(*client.Client) (M, error)) M {
	t.Helper()
	got, err := ask(dial(t, r))
	if err != nil {
		t.Fatalf("%s over gRPC: %v", path, err)
	}
	x := doAt(t, r, "GET", path, "")
	if x.status != http.StatusOK || x.header.Get("Content-Type") != "application/json" {
		t.Fatalf("%s: %d %s", path, x.status, x.body)
	}
	if err := protojson.Unmarshal(x.body, fresh); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	if !proto.Equal(got, fresh) {
		t.Errorf("%s: gRPC gives %v, REST %v", path, got, fresh)
	}
	return got
}

// checkpointOf fetches a checkpoint and reads it with the standard library alone.
func checkpointOf(t *testing.T, r *running, id string) (size int, root rfc6962.Hash, note string) {
	t.Helper()
	key := both(t, r, "/v1/keys/ledger", &pb.VerifierKey{}, func(c *client.Client) (*pb.VerifierKey, error) {
		return c.Ledger.GetVerifierKey(t.Context(), &pb.GetVerifierKeyRequest{Name: "keys/ledger"})
	})
	c := both(t, r, "/v1/checkpoints/"+id, &pb.Checkpoint{}, func(c *client.Client) (*pb.Checkpoint, error) {
		return c.Ledger.GetCheckpoint(t.Context(), &pb.GetCheckpointRequest{Name: "checkpoints/" + id})
	})
	text, err := rfc6962.OpenNote([]byte(c.Note), key.Key)
	if err != nil {
		t.Fatal(err)
	}
	// C2SP tlog-checkpoint: origin, size and root, a line each.
	lines := strings.Split(text, "\n")
	size, err = strconv.Atoi(lines[1])
	b, err64 := base64.StdEncoding.DecodeString(lines[2])
	if err != nil || err64 != nil || len(b) != 32 || lines[0] != key.Origin || lines[0] != c.Origin || int64(size) != c.Size || !bytes.Equal(b, c.Root) || lines[3] != fmt.Sprintf("position %d", c.Position) {
		t.Fatalf("checkpoint %q, message %v: %v %v", text, c, err, err64)
	}
	plain := doAt(t, r, "GET", "/v1/checkpoints/"+id, "", "Accept", "text/plain")
	if string(plain.body) != c.Note || !strings.HasPrefix(plain.header.Get("Content-Type"), "text/plain") || plain.header.Get("Proofload-Position") != fmt.Sprint(c.Position) {
		t.Errorf("as text the checkpoint is %s %q", plain.header.Get("Content-Type"), plain.body)
	}
	return size, rfc6962.Hash(b), c.Note
}

func hashes(t *testing.T, in [][]byte) (out []rfc6962.Hash) {
	t.Helper()
	for _, b := range in {
		if len(b) != 32 {
			t.Fatalf("a hash has %d bytes", len(b))
		}
		out = append(out, rfc6962.Hash(b))
	}
	return out
}

// What the server proves is checked by the second verifier, from bytes off the wire:
// the notes, the proof of every revision, the growth between every two positions, and
// the root over all leaves.
func TestServerProves(t *testing.T) {
	r, _ := proving(t)
	const positions = 5
	var sizes [positions + 1]int
	var roots [positions + 1]rfc6962.Hash
	for p := 1; p <= positions; p++ {
		sizes[p], roots[p], _ = checkpointOf(t, r, fmt.Sprint(p))
	}
	if size, root, _ := checkpointOf(t, r, "newest"); size != sizes[positions] || root != roots[positions] {
		t.Error("the newest checkpoint is not that of the newest position")
	}
	c := dial(t, r)
	leaves := make([]rfc6962.Hash, sizes[positions])
	lib := demoLibrary(t)
	seen := 0
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			revs, err := c.Specs.ListRevisions(t.Context(), &pb.ListRevisionsRequest{Parent: string(e.Name())})
			if err != nil {
				t.Fatal(err)
			}
			for _, rev := range revs.Revisions {
				name := fmt.Sprintf("%s/revisions/%d/proof", e.Name(), rev.Number)
				ask := func(c *client.Client) (*pb.Proof, error) {
					return c.Ledger.GetProof(t.Context(), &pb.GetProofRequest{Name: name})
				}
				var p *pb.Proof
				if rev.Number > 1 || seen%40 == 0 { // the rest over one wire: it is the same code
					p = both(t, r, "/v1/"+name, &pb.Proof{}, ask)
				} else if p, err = ask(c); err != nil {
					t.Fatal(err)
				}
				seen++
				leaf := rfc6962.Leaf(p.Leaf)
				leaves[p.LeafIndex] = leaf
				if err := rfc6962.Included(hashes(t, p.Hashes), int(p.LeafIndex), sizes[positions], leaf, roots[positions]); err != nil {
					t.Errorf("%s: %v", name, err)
				}
				doc := doc(t, c, e.Name(), rev.Position)
				sum := sha256.Sum256(doc)
				if want := fmt.Sprintf(`"document":"%s","name":"%s"`, hex.EncodeToString(sum[:]), e.Name()); !bytes.Contains(p.Leaf, []byte(want)) {
					t.Errorf("%s: leaf %s lacks %s", name, p.Leaf, want)
				}
			}
		}
	}
	if seen != len(leaves) || rfc6962.MTH(leaves) != roots[positions] {
		t.Errorf("%d leaves do not make the root of %d", seen, len(leaves))
	}
	for from := 1; from <= positions; from++ {
		for to := from; to <= positions; to++ {
			path := fmt.Sprintf("/v1/checkpoints/%d/growth?from_position=%d", to, from)
			g := both(t, r, path, &pb.Growth{}, func(c *client.Client) (*pb.Growth, error) {
				return c.Ledger.GetGrowth(t.Context(), &pb.GetGrowthRequest{Name: fmt.Sprintf("checkpoints/%d/growth", to), FromPosition: int64(from)})
			})
			if err := rfc6962.Consistent(hashes(t, g.Hashes), sizes[from], sizes[to], roots[from], roots[to]); err != nil || g.FromSize != int64(sizes[from]) {
				t.Errorf("from %d to %d: %v", from, to, err)
			}
			other := roots[from]
			other[0] ^= 1
			if err := rfc6962.Consistent(hashes(t, g.Hashes), sizes[from], sizes[to], other, roots[to]); err == nil {
				t.Errorf("from %d to %d: another old root is accepted", from, to)
			}
		}
	}
	// A proof of an older tree, with the growth from a kept one.
	p := both(t, r, fmt.Sprintf("/v1/fasteners/quill-1-rear-hub-nut/revisions/2/proof?at=position:3&from_size=%d", sizes[1]), &pb.Proof{}, func(c *client.Client) (*pb.Proof, error) {
		return c.Ledger.GetProof(t.Context(), &pb.GetProofRequest{Name: "fasteners/quill-1-rear-hub-nut/revisions/2/proof", At: "position:3", FromSize: int64(sizes[1])})
	})
	if err := rfc6962.Included(hashes(t, p.Hashes), int(p.LeafIndex), sizes[3], rfc6962.Leaf(p.Leaf), roots[3]); err != nil {
		t.Error(err)
	}
	if err := rfc6962.Consistent(hashes(t, p.Growth.Hashes), sizes[1], sizes[3], roots[1], roots[3]); err != nil {
		t.Error(err)
	}
	if !bytes.Contains(p.Leaf, []byte(`"reason":"sheet 3 read again","reviewer":"ines"`)) {
		t.Errorf("leaf is %s", p.Leaf)
	}
}

func doc(t *testing.T, c *client.Client, name specdata.Name, position int64) []byte {
	t.Helper()
	d, err := c.Specs.GetDocument(t.Context(), &pb.GetDocumentRequest{Name: string(name), At: fmt.Sprintf("position:%d", position)})
	if err != nil {
		t.Fatal(err)
	}
	return d.Canonical
}

// Both wires refuse the same things with the same words.
func TestLedgerRefusals(t *testing.T) {
	r, _ := proving(t)
	c := dial(t, r)
	falseCode, unknownCode, mistyped := sheetCodes(t)
	for _, x := range []struct {
		path   string
		ask    func() error
		reason string
		says   string
	}{
		{"/v1/keys/other", func() error {
			_, err := c.Ledger.GetVerifierKey(t.Context(), &pb.GetVerifierKeyRequest{Name: "keys/other"})
			return err
		}, "RECORD_NOT_FOUND", "there is keys/ledger"},
		{"/v1/checkpoints/0", func() error { return askCheckpoint(t, c, "checkpoints/0", "") }, "INVALID_ARGUMENT", "checkpoints/newest"},
		{"/v1/checkpoints/99", func() error { return askCheckpoint(t, c, "checkpoints/99", "") }, "POSITION_NOT_PUBLISHED", "newest is 5"},
		{"/v1/checkpoints/last", func() error { return askCheckpoint(t, c, "checkpoints/last", "") }, "INVALID_ARGUMENT", "checkpoints/newest"},
		{"/v1/checkpoints/2?at=position:2", func() error { return askCheckpoint(t, c, "checkpoints/2", "position:2") }, "INVALID_ARGUMENT", "beside a position"},
		{"/v1/checkpoints/newest?at=release:none", func() error { return askCheckpoint(t, c, "checkpoints/newest", "release:none") }, "MOMENT_NOT_FOUND", "release"},
		{"/v1/checkpoints/2/growth?from_position=1&from_size=1", func() error { return askGrowth(t, c, "checkpoints/2/growth", 1, 1) }, "INVALID_ARGUMENT", "one of the two"},
		{"/v1/checkpoints/2/growth?from_position=3", func() error { return askGrowth(t, c, "checkpoints/2/growth", 3, 0) }, "INVALID_ARGUMENT", "allowed: 1 to 2"},
		{"/v1/checkpoints/2/growth?from_size=100000", func() error { return askGrowth(t, c, "checkpoints/2/growth", 0, 100000) }, "INVALID_ARGUMENT", "allowed: 1 to"},
		{"/v1/fasteners/quill-1-rear-hub-nut/revisions/0/proof", func() error { return askProof(t, c, "fasteners/quill-1-rear-hub-nut/revisions/0/proof", "", 0) }, "INVALID_ARGUMENT", "revisions/2/proof"},
		{"/v1/fasteners/quill-1-rear-hub-nut/revisions/9/proof", func() error { return askProof(t, c, "fasteners/quill-1-rear-hub-nut/revisions/9/proof", "", 0) }, "RECORD_NOT_FOUND", "no revision 9"},
		{"/v1/fasteners/nope/revisions/1/proof", func() error { return askProof(t, c, "fasteners/nope/revisions/1/proof", "", 0) }, "RECORD_NOT_FOUND", "fasteners/nope"},
		{"/v1/fasteners/quill-1-rear-hub-nut/revisions/2/proof?at=position:1", func() error {
			return askProof(t, c, "fasteners/quill-1-rear-hub-nut/revisions/2/proof", "position:1", 0)
		}, "RECORD_NOT_FOUND", "published at position 2"},
		{"/v1/fasteners/quill-1-rear-hub-nut/revisions/1/proof?from_size=-1", func() error { return askProof(t, c, "fasteners/quill-1-rear-hub-nut/revisions/1/proof", "", -1) }, "INVALID_ARGUMENT", "from_size -1"},
		{"/v1/checks/" + mistyped, func() error { return askCheck(t, c, mistyped) }, "SHEET_CODE_MISTYPED", "do not fit each other"},
		{"/v1/checks/hello", func() error { return askCheck(t, c, "hello") }, "SHEET_CODE_MISTYPED", "does not begin with PL"},
		{"/v1/checks/" + unknownCode, func() error { return askCheck(t, c, unknownCode) }, "SHEET_CODE_UNKNOWN", "newest is 5"},
		{"/v1/checks/" + falseCode, func() error { return askCheck(t, c, falseCode) }, "SHEET_CODE_FALSE", "do not use the sheet"},
		{"/v1/checks/" + falseCode + "/proof", func() error {
			_, err := c.Ledger.GetCheckProof(t.Context(), &pb.GetCheckProofRequest{Name: "checks/" + falseCode + "/proof"})
			return err
		}, "SHEET_CODE_FALSE", "do not use the sheet"},
	} {
		var e *client.Error
		if err := x.ask(); !errors.As(err, &e) || e.Reason != x.reason || !strings.Contains(e.Message, x.says) {
			t.Errorf("%s over gRPC: %v", x.path, err)
			continue
		}
		y := doAt(t, r, "GET", x.path, "")
		if y.reason() != x.reason || y.field(t, "detail") != e.Message {
			t.Errorf("%s: gRPC says %s %q, REST %d %s", x.path, e.Reason, e.Message, y.status, y.body)
		}
	}
	empty := start(t, "--empty")
	if x := doAt(t, empty, "GET", "/v1/checkpoints/newest", ""); x.reason() != "MOMENT_NOT_FOUND" || !strings.Contains(string(x.body), "empty") {
		t.Errorf("an empty library answers %d %s", x.status, x.body)
	}
}

func askCheckpoint(t *testing.T, c *client.Client, name, at string) error {
	_, err := c.Ledger.GetCheckpoint(t.Context(), &pb.GetCheckpointRequest{Name: name, At: at})
	return err
}

func askGrowth(t *testing.T, c *client.Client, name string, position, size int64) error {
	_, err := c.Ledger.GetGrowth(t.Context(), &pb.GetGrowthRequest{Name: name, FromPosition: position, FromSize: size})
	return err
}

func askProof(t *testing.T, c *client.Client, name, at string, size int64) error {
	_, err := c.Ledger.GetProof(t.Context(), &pb.GetProofRequest{Name: name, At: at, FromSize: size})
	return err
}

func askCheck(t *testing.T, c *client.Client, code string) error {
	_, err := c.Ledger.GetCheck(t.Context(), &pb.GetCheckRequest{Name: "checks/" + code})
	return err
}

// The key stays with the store: a restart, and a copy, sign the same bytes; another
// name is refused; the key is in no answer.
func TestIdentityStaysWithTheStore(t *testing.T) {
	file := filepath.Join(t.TempDir(), "one.db")
	run := func(args ...string) (key, note string, err error) {
		ctx, cancel := context.WithCancel(t.Context())
		r, err := launch(ctx, args...)
		if err != nil {
			cancel()
			return "", "", err
		}
		defer func() { cancel(); <-r.done }()
		key = string(doAt(t, r, "GET", "/v1/keys/ledger", "", "Accept", "text/plain").body)
		_, _, note = checkpointOf(t, r, "newest")
		return key, note, nil
	}
	key, note, err := run("--store", "sqlite:"+file, "--origin", "torque.workshop.example/quill")
	if err != nil || !strings.HasPrefix(note, "torque.workshop.example/quill\n") || !strings.HasPrefix(key, "torque.workshop.example/quill+") {
		t.Fatalf("named library: %s %s %v", key, note, err)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(t.TempDir(), "copy.db")
	if err := os.WriteFile(copied, data, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{file, copied} {
		if k, n, err := run("--store", "sqlite:"+f); err != nil || k != key || n != note {
			t.Errorf("started again: %s %s %v, want %s %s", k, n, err, key, note)
		}
	}
	if _, _, err := run("--store", "sqlite:"+file, "--origin", "elsewhere.example"); err == nil || !strings.Contains(err.Error(), "is called torque.workshop.example/quill since its first start") {
		t.Errorf("another name: %v", err)
	}
	for _, args := range [][]string{{"--origin", "a b"}, {"--origin", "a+b"}, {"--public-url", "workshop"}, {"--public-url", "http://x/?y"}} {
		if _, err := launch(t.Context(), append(args, "--store", "sqlite:"+copied)...); err == nil || !strings.Contains(err.Error(), args[0]) {
			t.Errorf("%v: %v", args, err)
		}
	}
	if !bytes.Contains(data, []byte("PRIVATE+KEY+torque.workshop.example")) {
		t.Error("the key is not where it is said to be")
	}
}

// The Go client keeps a checkpoint and proves documents; what a server that told
// another history answers is not proved.
func TestClientProves(t *testing.T) {
	r, file := proving(t)
	c := dial(t, r)
	key := strings.TrimSpace(string(doAt(t, r, "GET", "/v1/keys/ledger", "", "Accept", "text/plain").body))
	_, _, first := checkpointOf(t, r, "1")
	newest, err := c.Follow(t.Context(), key, []byte(first))
	if err != nil {
		t.Fatal(err)
	}
	if again, err := c.Follow(t.Context(), key, newest); err != nil || !bytes.Equal(again, newest) {
		t.Errorf("following again: %s, %v", again, err)
	}
	const revision = "fasteners/quill-1-rear-hub-nut/revisions/2"
	document := doc(t, c, "fasteners/quill-1-rear-hub-nut", 5)
	for _, kept := range [][]byte{nil, []byte(first), newest} {
		if err := c.Prove(t.Context(), key, kept, revision, document); err != nil {
			t.Errorf("kept %.40q: %v", kept, err)
		}
	}
	if err := c.Prove(t.Context(), key, nil, revision, append(document, ' ')); !errors.Is(err, client.ErrNotProved) {
		t.Errorf("another document: %v", err)
	}
	if err := c.Prove(t.Context(), key, nil, "fasteners/quill-1-rear-hub-nut/revisions/1", document); !errors.Is(err, client.ErrNotProved) {
		t.Errorf("another revision: %v", err)
	}
	// The same key tells another history: a copy that was rolled back and went on.
	other, _ := proving(t)
	if _, err := dial(t, other).Follow(t.Context(), key, newest); !errors.Is(err, client.ErrNotProved) {
		t.Errorf("another library: %v", err)
	}
	forked := fork(t, file)
	fc := dial(t, forked)
	if _, err := fc.Follow(t.Context(), key, newest); !errors.Is(err, client.ErrNotProved) {
		t.Errorf("a split view: %v", err)
	}
	if _, err := fc.Follow(t.Context(), key, []byte(first)); err != nil {
		t.Errorf("before the split both are one history: %v", err)
	}
	if err := fc.Prove(t.Context(), key, newest, "fasteners/quill-1-rear-hub-nut/revisions/1", doc(t, fc, "fasteners/quill-1-rear-hub-nut", 1)); !errors.Is(err, client.ErrNotProved) {
		t.Errorf("a proof in a split view: %v", err)
	}
}

// fork starts a server with the key of a store and the same first position, which
// then published something else.
func fork(t *testing.T, file string) *running {
	t.Helper()
	one := filepath.Join(t.TempDir(), "one.db")
	for _, end := range []string{"", "-wal"} { // the server still has it open
		data, err := os.ReadFile(file + end)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(one+end, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	from, err := sqlite.Open(t.Context(), one, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	forked := filepath.Join(t.TempDir(), "forked.db")
	to, err := sqlite.Open(t.Context(), forked, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	key, err := from.GetNote(t.Context(), "keys", "ledger")
	if err != nil {
		t.Fatal(err)
	}
	if err := to.WriteNotes(t.Context(), []store.NoteWrite{{Space: key.Space, Key: key.Key, Body: key.Body, Time: key.Time}}); err != nil {
		t.Fatal(err)
	}
	revs, err := from.Log(t.Context(), 0, 1, store.MaxLimit)
	if err != nil {
		t.Fatal(err)
	}
	p := store.Publication{Authors: revs[0].Authors, Reviewer: revs[0].Reviewer, Reason: revs[0].Reason, Time: revs[0].Time}
	for _, r := range revs {
		p.Changes = append(p.Changes, store.Change{Name: r.Name, Document: r.Document})
	}
	if _, err := to.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	for i := range 6 {
		r := revs[len(revs)-1-i]
		if _, err := to.Publish(t.Context(), store.Publication{Changes: []store.Change{{Name: r.Name, Base: 1}}, Authors: []string{"mallory"}, Reason: "another history", Time: time.Now().UTC()}); err != nil {
			t.Fatal(err)
		}
	}
	if err := to.Close(); err != nil {
		t.Fatal(err)
	}
	return start(t, "--store", "sqlite:"+forked)
}
