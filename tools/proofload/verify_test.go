package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"proofload/server/access"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/notary"
	"proofload/server/prints"
	"proofload/server/rest"
	"proofload/server/rpc"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/web"
	"proofload/specdata"
	"proofload/specdata/demo"
)

const origin = "workshop.example/demo"

// signing is a library that is published, served and kept.
type signing struct {
	file    string
	store   *sqlite.Store
	address string
	dir     string
}

// openSigning opens a store, publishes the demo library where it is new, and serves it.
func openSigning(t *testing.T, file string) *signing {
	t.Helper()
	s, err := sqlite.Open(t.Context(), file, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	w := &signing{file: file, store: s, dir: t.TempDir()}
	if head, err := s.Head(t.Context()); err != nil || head.Position == 0 {
		w.fill(t)
	}
	cat, err := catalog.New(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	signer, err := notary.Open(t.Context(), s, notary.Options{Origin: origin}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	pages, err := web.New(cat, log)
	if err != nil {
		t.Fatal(err)
	}
	sheets := prints.New(cat, signer, desk.New(desk.Deps{Follower: cat.Follower}), log)
	handler, err := rest.NewHandler(rest.Deps{
		Catalog: cat, Gate: access.NewGate(access.NewKeys(s, time.Now), access.Settings{}), Pages: pages, Prints: sheets, Log: log,
		RPC: rpc.NewServer(rpc.Deps{Catalog: cat, Notary: signer, Prints: sheets, Log: log}),
	})
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(handler)
	t.Cleanup(server.Close)
	w.address = server.URL
	return w
}

// fill publishes the records of one vehicle's procedure and all they need.
func (w *signing) fill(t *testing.T) {
	t.Helper()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	p := store.Publication{Authors: []string{"maud"}, Reviewer: "ines", Reason: "first sheets", Time: time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)}
	seen := map[specdata.Name]bool{}
	var add func(specdata.Name)
	add = func(n specdata.Name) {
		e := lib.Get(n)
		if e == nil || seen[n] {
			return
		}
		seen[n] = true
		p.Changes = append(p.Changes, store.Change{Name: n, Document: e.Canonical})
		for _, ref := range specdata.References(e.Record) {
			if k := ref.Name.Kind(); k != specdata.KindProcedure {
				add(ref.Name)
			}
		}
	}
	add("procedures/quill-1-rear-hub-bearing")
	if _, err := w.store.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
}

const hubNut specdata.Name = "fasteners/quill-1-rear-hub-nut"

// change publishes another torque of the hub nut.
func (w *signing) change(t *testing.T, torque int) {
	t.Helper()
	head, err := w.store.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := w.store.Get(t.Context(), hubNut, head.Position)
	if err != nil {
		t.Fatal(err)
	}
	doc := regexp.MustCompile(`"stages":\[[^\]]*\]`).ReplaceAll(r.Document, fmt.Appendf(nil, `"stages":[{"torque":"%d N.m"}]`, torque))
	_, err = w.store.Publish(t.Context(), store.Publication{
		Changes: []store.Change{{Name: hubNut, Base: r.Number, Document: doc}}, Authors: []string{"jo"}, Reviewer: "ines", Reason: fmt.Sprintf("sheet says %d", torque), Time: head.Time.Add(time.Hour),
	})
	if err != nil {
		t.Fatal(err)
	}
}

// rolledBack returns the same library, with the same key, as it was at its first position.
func (w *signing) rolledBack(t *testing.T) *signing {
	t.Helper()
	key, err := w.store.GetNote(t.Context(), "keys", "ledger")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "rolled.db")
	s, err := sqlite.Open(t.Context(), file, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.WriteNotes(t.Context(), []store.NoteWrite{{Space: key.Space, Key: key.Key, Body: key.Body, Time: key.Time}}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return openSigning(t, file)
}

// save keeps an answer of the server in a file.
func (w *signing) save(t *testing.T, name, path string) string {
	t.Helper()
	resp, err := http.Get(w.address + path)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s %s %v", path, resp.Status, b, err)
	}
	file := filepath.Join(w.dir, name)
	if err := os.WriteFile(file, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// proofload runs a command and returns what it said.
func proofload(t *testing.T, args ...string) (code int, said string) {
	t.Helper()
	var stdout, stderr screen
	code = run(context.Background(), testEnv(&stdout, &stderr), args)
	return code, stdout.b.String() + stderr.b.String()
}

func demand(t *testing.T, code int, says string, args ...string) string {
	t.Helper()
	got, said := proofload(t, args...)
	if got != code || !strings.Contains(said, says) {
		t.Errorf("proofload %s: exit %d, want %d; want %q in\n%s", strings.Join(args, " "), got, code, says, said)
	}
	return said
}

// edit returns a copy of a file with something else in it.
func edit(t *testing.T, file, old, new string) string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.Replace(string(b), old, new, 1)
	if changed == string(b) {
		t.Fatalf("%s has no %q: %s", file, old, b)
	}
	out := filepath.Join(t.TempDir(), filepath.Base(file))
	if err := os.WriteFile(out, []byte(changed), 0o644); err != nil {
		t.Fatal(err)
	}
	return out
}

func TestVerifyServer(t *testing.T) {
	w := openSigning(t, filepath.Join(t.TempDir(), "shop.db"))
	kept := filepath.Join(w.dir, "kept.txt")
	demand(t, exitClean, "as the server told it: compare it", "verify", "--server", w.address, "--checkpoint", kept)
	first, err := os.ReadFile(kept)
	if err != nil {
		t.Fatal(err)
	}
	demand(t, exitClean, "nothing was published since position 1", "verify", "--server", w.address, "--checkpoint", kept)
	w.change(t, 250)
	w.change(t, 260)
	demand(t, exitClean, "grew from position 1", "verify", "--server", w.address, "--checkpoint", kept)
	third, err := os.ReadFile(kept)
	if err != nil || string(third) == string(first) || !strings.Contains(string(third), "\nposition 3\n") {
		t.Fatalf("kept is %s, %v", third, err)
	}

	// Another library, with another key.
	other := openSigning(t, filepath.Join(t.TempDir(), "other.db"))
	demand(t, exitFindings, "not signed by "+origin, "verify", "--server", other.address, "--checkpoint", kept)

	// The same key over another history: rolled back, and then grown again past the kept.
	rolled := w.rolledBack(t)
	demand(t, exitFindings, "rolled back", "verify", "--server", rolled.address, "--checkpoint", kept)
	for _, torque := range []int{250, 24, 26} {
		rolled.change(t, torque)
	}
	said := demand(t, exitFindings, "two histories", "verify", "--server", rolled.address, "--checkpoint", kept)
	if !strings.Contains(said, "— "+origin) {
		t.Errorf("the note that proves the split is not shown:\n%s", said)
	}
	if now, err := os.ReadFile(kept); err != nil || string(now) != string(third) {
		t.Errorf("the kept checkpoint was overwritten: %s, %v", now, err)
	}
	// Before the split both are one.
	old := filepath.Join(w.dir, "old.txt")
	if err := os.WriteFile(old, first, 0o644); err != nil {
		t.Fatal(err)
	}
	demand(t, exitClean, "grew from position 1", "verify", "--server", rolled.address, "--checkpoint", old, "--key", kept+".key")

	// Of several kept checkpoints each has to fit, not the first alone.
	split := filepath.Join(w.dir, "split.txt")
	demand(t, exitClean, "holds position 4", "verify", "--server", rolled.address, "--checkpoint", split)
	nut, proof := filepath.Join(w.dir, "nut.json"), filepath.Join(w.dir, "nut-proof.json")
	for path, file := range map[string]string{"/v1/" + string(hubNut) + "/document?at=position:1": nut, "/v1/" + string(hubNut) + "/revisions/1/proof?at=position:3": proof} {
		answer, err := http.Get(w.address + path)
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(answer.Body)
		if err != nil || answer.StatusCode != 200 || os.WriteFile(file, b, 0o644) != nil {
			t.Fatalf("%s: %v %s", path, err, b)
		}
		answer.Body.Close()
	}
	demand(t, exitClean, "proved:", "verify", nut, "--proof", proof, "--checkpoint", kept)
	demand(t, exitUsage, "is of position 4", "verify", nut, "--proof", proof, "--checkpoint", kept, "--checkpoint", split)

	damaged := edit(t, kept, "position 3", "position 2")
	demand(t, exitUsage, "is not signed by", "verify", "--server", w.address, "--checkpoint", damaged, "--key", kept+".key")
	demand(t, exitUsage, "does not exist; give --key", "verify", "--server", w.address, "--checkpoint", damaged)
	demand(t, exitBroken, "does not answer", "verify", "--server", "http://127.0.0.1:1", "--checkpoint", kept)
	demand(t, exitUsage, "give --checkpoint FILE", "verify", "--server", w.address)
	demand(t, exitUsage, "takes one of", "verify")
	demand(t, exitUsage, "takes one of", "verify", "--server", w.address, "--store", "sqlite:x", "--checkpoint", kept)
	demand(t, exitUsage, "is no verifier key", "verify", "--server", w.address, "--checkpoint", kept, "--key", "a+b")
}

func TestVerifyDocument(t *testing.T) {
	w := openSigning(t, filepath.Join(t.TempDir(), "shop.db"))
	kept := filepath.Join(w.dir, "kept.txt")
	demand(t, exitClean, "position 1", "verify", "--server", w.address, "--checkpoint", kept)
	w.change(t, 250)
	doc := w.save(t, "nut.json", "/v1/"+string(hubNut)+"/document")
	old := w.save(t, "old.json", "/v1/"+string(hubNut)+"/document?at=position:1")
	proof := w.save(t, "proof.json", "/v1/"+string(hubNut)+"/revisions/2/proof")
	size := regexp.MustCompile(`(?m)^\d+$`).FindString(string(read(t, kept)))
	grown := w.save(t, "grown.json", "/v1/"+string(hubNut)+"/revisions/2/proof?from_size="+size)
	atOne := w.save(t, "one.json", "/v1/"+string(hubNut)+"/revisions/1/proof?at=position:1")

	said := demand(t, exitClean, "is the document of fasteners/quill-1-rear-hub-nut revision 2, published at position 2", "verify", doc, "--proof", grown, "--checkpoint", kept)
	if !strings.Contains(said, "by jo, reviewed by ines: sheet says 250") {
		t.Errorf("it does not say who and why:\n%s", said)
	}
	demand(t, exitClean, "revision 2", "verify", doc, "--proof", proof, "--key", kept+".key")
	demand(t, exitClean, "revision 1", "verify", old, "--proof", atOne, "--checkpoint", kept)
	yaml := filepath.Join(w.dir, "nut.yaml")
	var indented any
	if err := json.Unmarshal(read(t, doc), &indented); err != nil {
		t.Fatal(err)
	}
	spaced, err := json.MarshalIndent(indented, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(yaml, spaced, 0o644); err != nil { // JSON is YAML
		t.Fatal(err)
	}
	demand(t, exitClean, "revision 2", "verify", yaml, "--proof", grown, "--checkpoint", kept)

	demand(t, exitUsage, "from_size="+size, "verify", doc, "--proof", proof, "--checkpoint", kept)
	demand(t, exitFindings, "is not the document of", "verify", old, "--proof", grown, "--checkpoint", kept)
	demand(t, exitFindings, "is not the document of", "verify", edit(t, doc, "250 N.m", "25 N.m"), "--proof", grown, "--checkpoint", kept)
	other := w.save(t, "other.json", "/v1/vehicles/quill-1/document")
	demand(t, exitFindings, "is vehicles/quill-1, the proof is of "+string(hubNut), "verify", other, "--proof", grown, "--checkpoint", kept)
	demand(t, exitFindings, "not signed by", "verify", doc, "--proof", edit(t, grown, `position 2\n`, `position 3\n`), "--checkpoint", kept)
	demand(t, exitFindings, "is not leaf", "verify", doc, "--proof", edit(t, grown, `"leaf_index":"`, `"leaf_index":"1`), "--checkpoint", kept)
	// A signer that tells two histories: the proof is good in the other one only.
	demand(t, exitClean, "grew from position 1", "verify", "--server", w.address, "--checkpoint", kept)
	now := regexp.MustCompile(`(?m)^\d+$`).FindString(string(read(t, kept)))
	liar := w.rolledBack(t)
	liar.change(t, 24)
	forked := liar.save(t, "forked.json", "/v1/"+string(hubNut)+"/document")
	demand(t, exitFindings, "contradict each other", "verify", forked, "--proof", liar.save(t, "p.json", "/v1/"+string(hubNut)+"/revisions/2/proof"), "--checkpoint", kept)
	liar.change(t, 26)
	demand(t, exitFindings, "history behind position 3 was changed", "verify", forked, "--proof", liar.save(t, "p.json", "/v1/"+string(hubNut)+"/revisions/2/proof?from_size="+now), "--checkpoint", kept)
	demand(t, exitClean, "revision 2", "verify", forked, "--proof", filepath.Join(liar.dir, "p.json"), "--key", kept+".key") // nothing kept, nothing found

	demand(t, exitUsage, "not JSON of the known form", "verify", doc, "--proof", doc, "--checkpoint", kept)
	demand(t, exitUsage, "needs the library's key", "verify", doc, "--proof", proof)
	demand(t, exitUsage, "does not exist", "verify", doc, "--proof", "nowhere.json", "--checkpoint", kept)
	demand(t, exitUsage, "needs the document", "verify", "--proof", proof, "--checkpoint", kept)
	demand(t, exitUsage, "of one document", "verify", doc, old, "--proof", proof, "--checkpoint", kept)
}

func read(t *testing.T, file string) []byte {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestVerifySheet(t *testing.T) {
	w := openSigning(t, filepath.Join(t.TempDir(), "shop.db"))
	kept := filepath.Join(w.dir, "kept.txt")
	demand(t, exitClean, "position 1", "verify", "--server", w.address, "--checkpoint", kept)
	paper := filepath.Join(w.dir, "hub.html")
	demand(t, exitClean, "hub.html: as of position 1\nis it still valid? "+w.address+"/checks/PL-", "sheet", "quill-1-rear-hub-bearing", "--side", "left", "-o", paper, "--date", "2026-11-25", "--library", w.address)
	served := w.save(t, "served.html", "/v1/procedures/quill-1-rear-hub-bearing/sheet?side=left&format=html&printed=2026-11-25")
	if string(read(t, paper)) != string(read(t, served)) {
		t.Error("the command line and the server print another sheet")
	}
	demand(t, exitClean, "is it still valid?", "sheet", "procedures/quill-1-rear-hub-bearing", "--side", "left", "-o", filepath.Join(w.dir, "hub.pdf"), "--library", w.address)
	demand(t, exitBroken, "side=left or side=right", "sheet", "quill-1-rear-hub-bearing", "-o", paper, "--library", w.address)
	code := regexp.MustCompile(`PL(-[0-9A-Z]{4}){3,7}`).FindString(string(read(t, paper)))
	nut := w.save(t, "nut.json", "/v1/"+string(hubNut)+"/document")
	w.change(t, 250)
	newNut := w.save(t, "new.json", "/v1/"+string(hubNut)+"/document")
	size := regexp.MustCompile(`(?m)^\d+$`).FindString(string(read(t, kept)))
	bundle := w.save(t, "bundle.json", "/v1/checks/"+url.PathEscape(code)+"/proof?from_size="+size)

	said := demand(t, exitClean, "as of position 1: Rear hub bearing, one side\nThe paper must say:\n  FOR Vessary Quill 1.4, rear brake disc, built up to 2019-W26, left side", "verify", code, nut, "--proof", bundle, "--checkpoint", kept)
	for _, want := range []string{"Stub-axle collar nut: 240 N·m (177 lbf·ft), accept 216 to 264 N·m", "Wheel nut (4): 110 N·m (81 lbf·ft)", "Whether it is still valid only the library can tell", "vehicle maker"} {
		if !strings.Contains(said, want) {
			t.Errorf("it does not say %q:\n%s", want, said)
		}
	}
	demand(t, exitClean, "proved", "verify", strings.ToLower(code), "--proof", bundle, "--checkpoint", kept)
	demand(t, exitFindings, "was not made from", "verify", code, newNut, "--proof", bundle, "--checkpoint", kept)
	right := w.save(t, "right.html", "/v1/procedures/quill-1-rear-hub-bearing/sheet?side=right&format=html&at=position:1")
	rightCode := regexp.MustCompile(`PL(-[0-9A-Z]{4}){3,7}`).FindString(string(read(t, right)))
	demand(t, exitFindings, "has the code "+code, "verify", rightCode, "--proof", bundle, "--checkpoint", kept)
	demand(t, exitFindings, "not the one that was published", "verify", code, "--proof", edit(t, bundle, `240 N.m`, `24 N.m`), "--checkpoint", kept)
	demand(t, exitFindings, "has the code "+rightCode, "verify", code, "--proof", edit(t, bundle, `"side":"left"`, `"side":"right"`), "--checkpoint", kept)
	mistyped := code[:len(code)-1] + string(code[len(code)-1]^1)
	demand(t, exitUsage, "mistyped", "verify", mistyped, "--proof", bundle, "--checkpoint", kept)
	demand(t, exitUsage, "is not the answer of", "verify", code, "--proof", nut, "--checkpoint", kept)
}

// A saved log is a whole history, too.
func TestVerifyLog(t *testing.T) {
	w := openSigning(t, filepath.Join(t.TempDir(), "shop.db"))
	w.change(t, 250)
	w.change(t, 260)
	kept := filepath.Join(w.dir, "kept.txt")
	demand(t, exitClean, "position 3", "verify", "--server", w.address, "--checkpoint", kept)
	log := w.save(t, "log.json", "/v1/log?documents=true&page_size=1000")
	demand(t, exitClean, "1 kept checkpoint fits", "verify", "--log", log, "--checkpoint", kept)
	demand(t, exitClean, "agree with the hashes", "verify", "--log", log)
	demand(t, exitFindings, "rewritten", "verify", "--log", edit(t, log, `"reviewer":"ines"`, `"reviewer":"jo"`), "--checkpoint", kept)
	reason := edit(t, log, "sheet says 250", "sheet says 25")
	demand(t, exitFindings, "rewritten", "verify", "--log", reason, "--checkpoint", kept)
	demand(t, exitClean, "whole", "verify", "--log", reason) // nothing kept, nothing found
	demand(t, exitFindings, "its document does not have the hash", "verify", "--log", edit(t, log, `"document":"ey`, `"document":"ez`))
	demand(t, exitUsage, "without its document", "verify", "--log", w.save(t, "short.json", "/v1/log"))
	demand(t, exitUsage, "it is no log", "verify", "--log", w.save(t, "key.json", "/v1/keys/ledger"))
}
