package transfer_test

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"pgregory.net/rapid"

	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/store/storetest"
	"proofload/server/transfer"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

var marker = document.Marker{Library: "demo", Title: "A \"quoted\" title: with # signs", Notice: "Demo data."}

func openStore(t testing.TB) store.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func clean(context.Context, library.Library, []specdata.Name, library.Library) ([]specdata.Finding, error) {
	return nil, nil
}

func options() transfer.ImportOptions {
	return transfer.ImportOptions{Check: clean, By: "ada", Reviewer: "ben", Reason: "imported in a test", Time: storetest.Epoch}
}

func entry(t testing.TB, r specdata.Record) *library.Entry {
	t.Helper()
	d, err := document.ReadCanonical(storetest.Canonical(t, r))
	if err != nil {
		t.Fatal(err)
	}
	return library.NewEntry(d)
}

func all(m *library.Memory) []*library.Entry {
	var es []*library.Entry
	for _, k := range specdata.Kinds {
		es = slices.AppendSeq(es, m.All(k))
	}
	return es
}

// The demo library goes in, out, and in again, and is the same to the last bit.
func TestDemoRoundTrip(t *testing.T) {
	m, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	first := openStore(t)
	in, err := transfer.Import(t.Context(), first, all(m), options())
	if err != nil {
		t.Fatal(err)
	}
	if in.Position != 1 || len(in.Added) != m.Len() || len(in.Changed)+len(in.Withdrawn)+in.Unchanged != 0 {
		t.Errorf("the import of %d records did %+v", m.Len(), in)
	}
	dir := filepath.Join(t.TempDir(), "out")
	n, err := transfer.Export(t.Context(), first, 1, marker, dir)
	if err != nil || n != m.Len() {
		t.Fatalf("Export gives %d, %v; want %d", n, err, m.Len())
	}
	back, findings, err := library.ReadFolder(os.DirFS(dir), "")
	if err != nil || len(findings) > 0 {
		t.Fatalf("the exported folder: %v, %v", findings, err)
	}
	second := openStore(t)
	if _, err := transfer.Import(t.Context(), second, all(back), options()); err != nil {
		t.Fatal(err)
	}
	sameStores(t, first, 1, second, 1)
	text, err := os.ReadFile(filepath.Join(dir, library.Marker))
	if err != nil {
		t.Fatal(err)
	}
	if got, findings := document.ReadMarker(library.Marker, text); !reflect.DeepEqual(got, marker) || len(findings) > 0 {
		t.Errorf("the exported marker says %+v, %v", got, findings)
	}
	// Nothing to do is nothing done.
	again, err := transfer.Import(t.Context(), second, all(back), options())
	if err != nil || again.Position != 1 || again.Unchanged != m.Len() || len(again.Added)+len(again.Changed)+len(again.Withdrawn) > 0 {
		t.Errorf("importing again did %+v, %v", again, err)
	}
}

func sameStores(t *testing.T, a store.Store, atA int64, b store.Store, atB int64) {
	t.Helper()
	ctx := t.Context()
	for _, k := range specdata.Kinds {
		q := store.Query{Kind: k, Limit: store.MaxLimit}
		as, errA := a.List(ctx, q, atA)
		bs, errB := b.List(ctx, q, atB)
		if errA != nil || errB != nil || len(as) != len(bs) {
			t.Errorf("%s: %d records, %v, and %d records, %v", k, len(as), errA, len(bs), errB)
			return
		}
		for i := range as {
			if as[i].Name != bs[i].Name || as[i].Hash != bs[i].Hash {
				t.Errorf("%s with hash %s and %s with hash %s", as[i].Name, as[i].Hash, bs[i].Name, bs[i].Hash)
			}
		}
	}
}

// Whatever characters a document holds, it comes back the same.
func TestRandomRoundTrip(t *testing.T) {
	texts := rapid.OneOf(rapid.StringN(1, 60, 200), rapid.SampledFrom([]string{"yes", "010", "1.0", "~", "- a", "a: b", "a #b", "'", `"`, "x", "é", "null", "2026-09-14"}))
	s := openStore(t)
	rapid.Check(t, func(r *rapid.T) {
		var entries []*library.Entry
		for i := range rapid.IntRange(1, 5).Draw(r, "records") {
			bolt := storetest.Bolt(i, rapid.IntRange(1, 500).Draw(r, "torque"))
			bolt.Title, bolt.Note = texts.Draw(r, "title"), texts.Draw(r, "note")
			bolt.Place = texts.Draw(r, "place")
			text, err := document.Canonical(bolt)
			if err != nil {
				continue
			}
			if d, err := document.ReadCanonical(text); err == nil { // many texts are no titles
				entries = append(entries, library.NewEntry(d))
			}
		}
		o := options()
		o.Prune = true // the records of the round before
		done, err := transfer.Import(t.Context(), s, entries, o)
		if err != nil {
			r.Fatal(err)
		}
		dir := filepath.Join(t.TempDir(), "out")
		if n, err := transfer.Export(t.Context(), s, done.Position, marker, dir); err != nil || n != len(entries) {
			r.Fatalf("Export of %d records gives %d, %v", len(entries), n, err)
		}
		if json, err := filepath.Glob(filepath.Join(dir, "*", "*.json")); err != nil || len(json) > 0 {
			r.Errorf("%v could not be written as YAML (%v)", json, err)
		}
		back, findings, err := library.ReadFolder(os.DirFS(dir), "")
		if err != nil || len(findings) > 0 {
			r.Fatalf("%v, %v", findings, err)
		}
		for _, e := range entries {
			if got := back.Get(e.Name()); got == nil || got.Hash != e.Hash || string(got.Canonical) != string(e.Canonical) {
				r.Errorf("%s came back as %+v", e.Canonical, got)
			}
		}
	})
}

// An import publishes what differs, and withdraws only when it is asked to.
func TestImportDiffers(t *testing.T) {
	ctx := t.Context()
	s := openStore(t)
	a, b, c, d := storetest.Bolt(1, 60), storetest.Bolt(2, 60), storetest.Bolt(3, 60), storetest.Bolt(4, 60)
	a2 := storetest.Bolt(1, 65)
	in := func(prune bool, rs ...specdata.Record) *transfer.Imported {
		t.Helper()
		var es []*library.Entry
		for _, r := range rs {
			es = append(es, entry(t, r))
		}
		o := options()
		o.Prune = prune
		done, err := transfer.Import(ctx, s, es, o)
		if err != nil {
			t.Fatal(err)
		}
		return done
	}
	names := func(rs ...specdata.Record) (ns []specdata.Name) {
		for _, r := range rs {
			ns = append(ns, r.Name())
		}
		return ns
	}
	same := func(what string, got *transfer.Imported, want transfer.Imported) {
		t.Helper()
		if got.Position != want.Position || got.Unchanged != want.Unchanged || !slices.Equal(got.Added, want.Added) || !slices.Equal(got.Changed, want.Changed) || !slices.Equal(got.Withdrawn, want.Withdrawn) {
			t.Errorf("%s did %+v, want %+v", what, *got, want)
		}
	}
	same("the first import", in(false, c, a, b), transfer.Imported{Position: 1, Added: names(a, b, c)})
	same("one changed, one new", in(false, a2, b, d), transfer.Imported{Position: 2, Added: names(d), Changed: names(a2), Unchanged: 1})
	same("the same again", in(false, a2, b, d), transfer.Imported{Position: 2, Unchanged: 3})
	same("pruning", in(true, a2, d), transfer.Imported{Position: 3, Withdrawn: names(b, c), Unchanged: 2})
	same("pruning again", in(true, a2, d), transfer.Imported{Position: 3, Unchanged: 2})
	same("one that was withdrawn", in(false, b), transfer.Imported{Position: 4, Added: names(b)})
	r, err := s.Get(ctx, b.Name(), 4)
	if err != nil || r.Number != 3 || r.Withdrawn || r.Reviewer != "ben" || r.Authors[0] != "ada" {
		t.Errorf("the revived record is %+v, %v", r, err)
	}
	if _, err := transfer.Import(ctx, s, []*library.Entry{entry(t, a), entry(t, a2)}, options()); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("one record twice gives %v", err)
	}
	same("pruning all", in(true), transfer.Imported{Position: 5, Withdrawn: names(a, b, d)})
}

// The check sees the library as it would become, and what it refuses is not published.
func TestImportChecks(t *testing.T) {
	ctx := t.Context()
	s := openStore(t)
	a, b, c := storetest.Bolt(1, 60), storetest.Bolt(2, 60), storetest.Bolt(3, 60)
	if _, err := transfer.Import(ctx, s, []*library.Entry{entry(t, a), entry(t, b)}, options()); err != nil {
		t.Fatal(err)
	}
	finding := specdata.Finding{Rule: "some-rule", Severity: specdata.Error, Record: c.Name(), Message: "it is wrong"}
	var given []specdata.Finding
	var failure error
	o := options()
	o.Prune = true
	o.Check = func(_ context.Context, after library.Library, changed []specdata.Name, before library.Library) ([]specdata.Finding, error) {
		if want := []specdata.Name{a.Name(), b.Name(), c.Name()}; !slices.Equal(changed, want) {
			t.Errorf("the check is asked about %v, want %v", changed, want)
		}
		for name, want := range map[specdata.Name][2]string{a.Name(): {"60 N.m", "65 N.m"}, b.Name(): {"60 N.m", ""}, c.Name(): {"", "60 N.m"}} {
			for i, lib := range []library.Library{before, after} {
				torque := ""
				if f := library.Fastener(lib, name.ID()); f != nil {
					torque = f.Tightening.Stages[0].Torque.String()
				}
				if torque != want[i] {
					t.Errorf("%s has torque %q in library %d, want %q", name, torque, i, want[i])
				}
			}
		}
		return given, failure
	}
	es := []*library.Entry{entry(t, storetest.Bolt(1, 65)), entry(t, c)}
	try := func() (*transfer.Imported, error) { return transfer.Import(ctx, s, es, o) }
	unchanged := func(what string) {
		t.Helper()
		if head, err := s.Head(ctx); err != nil || head.Position != 1 {
			t.Errorf("%s: the head is %+v, %v", what, head, err)
		}
	}
	given = []specdata.Finding{finding}
	done, err := try()
	if !errors.Is(err, transfer.ErrBlocked) || done == nil || len(done.Findings) != 1 {
		t.Errorf("an import with an error gives %+v, %v; want %v", done, err, transfer.ErrBlocked)
	}
	unchanged("an error")
	failure = errors.New("the checker broke")
	if _, err := try(); !errors.Is(err, failure) {
		t.Errorf("a check that fails gives %v", err)
	}
	unchanged("a failed check")
	failure = nil
	finding.Waived = "a reason that somebody gave"
	advice := specdata.Finding{Rule: "other-rule", Severity: specdata.Warning, Record: c.Name()}
	given = []specdata.Finding{finding, advice}
	o.DryRun = true
	if done, err = try(); err != nil || done.Position != 1 || len(done.Added) != 1 || len(done.Findings) != 2 {
		t.Errorf("a dry run gives %+v, %v", done, err)
	}
	unchanged("a dry run")
	o.DryRun = false
	if done, err = try(); err != nil || done.Position != 2 {
		t.Errorf("an import with a waived error and a warning gives %+v, %v", done, err)
	}
}

// Somebody who publishes between the check and the publication is not overwritten.
func TestImportMeetsConflict(t *testing.T) {
	ctx := t.Context()
	s := openStore(t)
	a := storetest.Bolt(1, 60)
	if _, err := transfer.Import(ctx, s, []*library.Entry{entry(t, a)}, options()); err != nil {
		t.Fatal(err)
	}
	o := options()
	o.Check = func(context.Context, library.Library, []specdata.Name, library.Library) ([]specdata.Finding, error) {
		_, err := s.Publish(ctx, storetest.Publication(1, storetest.Put(t, storetest.Bolt(1, 70), 1)))
		return nil, err
	}
	if _, err := transfer.Import(ctx, s, []*library.Entry{entry(t, storetest.Bolt(1, 65))}, o); !errors.Is(err, store.ErrConflict) {
		t.Errorf("an import that was overtaken gives %v, want %v", err, store.ErrConflict)
	}
}

// An export shows the records of its position, and appears whole or not at all.
func TestExport(t *testing.T) {
	ctx := t.Context()
	s := openStore(t)
	a, b := storetest.Bolt(1, 60), storetest.Bolt(2, 60)
	for _, p := range []store.Publication{
		storetest.Publication(1, storetest.Put(t, a, 0), storetest.Put(t, b, 0)),
		storetest.Publication(2, storetest.Put(t, storetest.Bolt(1, 65), 1), store.Change{Name: b.Name(), Base: 1}),
	} {
		if _, err := s.Publish(ctx, p); err != nil {
			t.Fatal(err)
		}
	}
	parent := t.TempDir()
	for at, want := range []string{"proofload.yaml", "fasteners/quill-1-bolt-000001.yaml fasteners/quill-1-bolt-000002.yaml proofload.yaml", "fasteners/quill-1-bolt-000001.yaml proofload.yaml"} {
		dir := filepath.Join(parent, "empty")
		if at > 0 { // one that is there and empty, then ones that are not there
			dir = filepath.Join(parent, "at", string(rune('0'+at)))
		}
		if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
			t.Fatal(err)
		}
		if at == 0 {
			if err := os.Mkdir(dir, 0o755); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := transfer.Export(ctx, s, int64(at), marker, dir); err != nil {
			t.Fatal(err)
		}
		if got := files(t, os.DirFS(dir)); got != want {
			t.Errorf("the export of position %d holds %q, want %q", at, got, want)
		}
	}
	full := filepath.Join(parent, "full")
	if err := os.CopyFS(full, fstest.MapFS{"notes.txt": {Data: []byte("mine")}}); err != nil {
		t.Fatal(err)
	}
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	for what, export := range map[string]func() error{
		"into a folder with files": func() error { _, err := transfer.Export(ctx, s, 2, marker, full); return err },
		"onto a file": func() error {
			_, err := transfer.Export(ctx, s, 2, marker, filepath.Join(full, "notes.txt"))
			return err
		},
		"below no folder": func() error {
			_, err := transfer.Export(ctx, s, 2, marker, filepath.Join(parent, "no", "out"))
			return err
		},
		"of no position": func() error { _, err := transfer.Export(ctx, s, 3, marker, filepath.Join(parent, "out")); return err },
		"with a bad marker": func() error {
			_, err := transfer.Export(ctx, s, 2, document.Marker{Library: "A B"}, filepath.Join(parent, "out"))
			return err
		},
		"that is cancelled": func() error {
			_, err := transfer.Export(cancelled, s, 2, marker, filepath.Join(parent, "out"))
			return err
		},
	} {
		before := files(t, os.DirFS(parent))
		if err := export(); err == nil {
			t.Errorf("an export %s succeeds", what)
		}
		if after := files(t, os.DirFS(parent)); after != before {
			t.Errorf("an export %s left %q, before there was %q", what, after, before)
		}
	}
}

func files(t *testing.T, fsys fs.FS) string {
	t.Helper()
	var names []string
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			names = append(names, name)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(names, " ")
}

// A waiver comes in by the person who approves the import, or not at all.
func TestImportWaiverOfAnother(t *testing.T) {
	s := openStore(t)
	r := &specdata.Source{Head: specdata.Head{Kind: specdata.KindSource, ID: "sheet-1", Title: "Chassis sheet",
		Waivers: []specdata.Waiver{{Rule: "odd-size", At: "/date", Value: "2020-01-01", Reason: "held against the paper", Until: "2027-01-15", By: "Piet Oram"}}}, Issuer: "Quill", Date: "2020-01-01", Type: "maker", Licence: "values may be quoted with the sheet named"}
	es := []*library.Entry{entry(t, r)}
	for _, x := range [][2]string{{"ada", "ben"}, {"ada", ""}, {"Piet Oram", "ben"}} {
		o := options()
		o.By, o.Reviewer = x[0], x[1]
		if _, err := transfer.Import(t.Context(), s, es, o); err == nil || !strings.Contains(err.Error(), "is by Piet Oram; only Piet Oram can approve it") {
			t.Errorf("by %q, reviewed by %q: %v", x[0], x[1], err)
		}
	}
	o := options()
	o.Reviewer = "Piet Oram"
	if done, err := transfer.Import(t.Context(), s, es, o); err != nil || done.Position != 1 {
		t.Errorf("by the person: %v, %v", done, err)
	}
}
