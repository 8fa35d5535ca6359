package prints_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/notary"
	"proofload/server/prints"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

// Every sheet of the demo library, of every variant and side, has a code of its own
// that leads back to it, and every print is remembered with what it shows.
func TestEverySheetHasItsCode(t *testing.T) {
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "a.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	p := store.Publication{Authors: []string{"maud"}, Reviewer: "ines", Reason: "first", Time: time.Now()}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			p.Changes = append(p.Changes, store.Change{Name: e.Name(), Document: e.Canonical})
		}
	}
	if _, err := s.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	cat, err := catalog.New(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := notary.Open(t.Context(), s, notary.Options{Origin: ""}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	printer := prints.New(cat, signer, desk.New(desk.Deps{Follower: cat.Follower}), slog.New(slog.DiscardHandler))
	made := map[string]string{}
	for e := range lib.All(specdata.KindProcedure) {
		proc := e.Record.(*specdata.Procedure)
		sides := []string{""}
		if proc.Sides == "one" {
			sides = []string{"left", "right"}
		}
		for _, v := range dryrun.Variants(lib, proc) {
			for _, side := range sides {
				r := prints.Request{Procedure: proc.Name(), Asked: whom.Say(proc, v), Side: side, Moment: ask.Newest(), Printed: "2026-11-25", Base: "http://x/", By: "piet"}
				printed, err := printer.Make(t.Context(), r)
				if err != nil {
					t.Fatal(err)
				}
				what := proc.ID + " " + v.String() + " " + side
				if other, ok := made[printed.CheckCode]; ok {
					t.Errorf("%s and %s have one code", what, other)
				}
				made[printed.CheckCode] = what
				if printed.CheckURL != "http://x/checks/"+printed.CheckCode {
					t.Errorf("address is %s", printed.CheckURL)
				}
				c, err := printer.Check(t.Context(), printed.CheckCode)
				if err != nil {
					t.Fatal(err)
				}
				if c.State != prints.Current || !c.Same || c.Procedure != proc.Name() || c.Sheet.Variant != printed.Variant || c.Sheet.For.Lines() != printed.For.Lines() || len(c.Values) != len(printed.Torques) {
					t.Errorf("%s: its code leads to %+v", what, c)
				}
				bundle, err := printer.Prove(t.Context(), printed.CheckCode, 0)
				if err != nil || len(bundle.Documents) != len(printed.Uses) {
					t.Errorf("%s: bundle of %d documents, %v", what, len(bundle.Documents), err)
				}
			}
		}
	}
	// A code that is made up from what everybody can read, of a revision that was not in
	// force then, is of no sheet.
	const name = "procedures/quill-1-rear-hub-bearing"
	first, err := s.GetRevision(t.Context(), name, 1)
	if err != nil {
		t.Fatal(err)
	}
	doc := bytes.Replace(first.Document, []byte(`"title":"Rear hub bearing`), []byte(`"title":"Hub bearing behind`), 1)
	if _, err := s.Publish(t.Context(), store.Publication{Changes: []store.Change{{Name: name, Base: 1, Document: doc}}, Authors: []string{"maud"}, Reason: "title", Time: time.Now()}); err != nil {
		t.Fatal(err)
	}
	second, err := s.GetRevision(t.Context(), name, 2)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ position, leaf int64 }{{1, second.Leaf}, {2, first.Leaf}, {1, first.Leaf}, {2, second.Leaf}} {
		sh, err := sheet.New(cat.Follower.At(t.Context(), c.position), sheet.Request{Procedure: "quill-1-rear-hub-bearing", Side: "left", Printed: "2026-11-25", Moment: whom.Moment{Position: c.position}})
		if err != nil {
			t.Fatal(err)
		}
		code, err := sh.Code(signer.Origin(), c.leaf)
		if err != nil {
			t.Fatal(err)
		}
		var e *fault.Error
		_, err = printer.Check(t.Context(), code.String())
		if right := (c.position == 1) == (c.leaf == first.Leaf); right != (err == nil) || !right && (!errors.As(err, &e) || e.Kind != fault.SheetCodeFalse) {
			t.Errorf("position %d, leaf %d: %v", c.position, c.leaf, err)
		}
	}
	notes, err := s.ListNotes(t.Context(), store.NoteQuery{Space: "prints", Limit: store.MaxLimit})
	if err != nil || len(notes) != len(made) {
		t.Fatalf("%d prints remembered of %d, %v", len(notes), len(made), err)
	}
	for _, n := range notes {
		var p desk.Print
		if err := json.Unmarshal(n.Body, &p); err != nil || made[p.Code] == "" || p.By != "piet" || len(p.Records) != len(n.Terms) || p.Records[p.Procedure] != 1 {
			t.Errorf("remembered is %s, %v", n.Body, err)
		}
	}
}
