package catalog_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/whom"
)

// shop is a small library in a real store.
type shop struct {
	*catalog.Catalog
	store store.Store
	bases map[specdata.Name]int64
}

func newShop(t *testing.T, rs ...specdata.Record) *shop {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	c, err := catalog.New(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	shop := &shop{c, s, map[specdata.Name]int64{}}
	if len(rs) > 0 {
		shop.publish(t, rs...)
	}
	return shop
}

// publish puts records in force and returns the position.
func (s *shop) publish(t *testing.T, rs ...specdata.Record) int64 {
	t.Helper()
	var cs []store.Change
	for _, r := range rs {
		raw, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := document.Canonicalize(raw)
		if err != nil {
			t.Fatal(err)
		}
		cs = append(cs, store.Change{Name: r.Name(), Base: s.bases[r.Name()], Document: doc})
	}
	return s.commit(t, "test", cs...)
}

func (s *shop) withdraw(t *testing.T, name specdata.Name, reason string) int64 {
	t.Helper()
	return s.commit(t, reason, store.Change{Name: name, Base: s.bases[name]})
}

func (s *shop) commit(t *testing.T, reason string, cs ...store.Change) int64 {
	t.Helper()
	p, err := s.store.Publish(t.Context(), store.Publication{Changes: cs, Authors: []string{"a"}, Reviewer: "b", Reason: reason, Time: time.Unix(1_000_000_000, 0)})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range cs {
		s.bases[c.Name]++
	}
	return p
}

func vehicle() *specdata.Vehicle {
	return &specdata.Vehicle{
		Head: specdata.Head{Kind: specdata.KindVehicle, ID: "tern-1", Title: "Tern 1"}, Make: "Marram", Model: "Tern",
		Built:   &specdata.Built{From: "2016-W01", To: "2022-W52"},
		Options: map[string][]string{"rear_brake": {"disc", "drum"}, "engine": {"p1", "d1"}},
		VIN:     &specdata.VIN{Pattern: "0XX**************"},
	}
}

// fastener makes one at the rear hub of the Tern; clauses are "key=value|value",
// "built=from..to" and "side=x", joined by commas.
func fastener(id, title, torque string, clauses ...string) *specdata.Fastener {
	f := &specdata.Fastener{
		Head: specdata.Head{Kind: specdata.KindFastener, ID: id, Title: title}, Place: "rear hub", Count: 1, Joint: specdata.JointClamp,
		Thread:     &specdata.Thread{Designation: "M24x1.5", Hand: "right", Into: "nut"},
		Tightening: &specdata.Tightening{Stages: []specdata.Stage{{Torque: specdata.MustQuantity(torque)}}, State: specdata.StateAny},
	}
	if len(clauses) == 0 {
		clauses = []string{""}
	}
	for _, c := range clauses {
		a := specdata.Applies{Vehicle: "tern-1", Where: map[string][]string{}}
		for _, part := range strings.Split(c, ",") {
			key, value, _ := strings.Cut(part, "=")
			switch key {
			case "":
			case "built":
				from, to, _ := strings.Cut(value, "..")
				a.Built = &specdata.Built{From: from, To: to}
			case "side":
				a.Side = specdata.Side(value)
			default:
				a.Where[key] = strings.Split(value, "|")
			}
		}
		f.AppliesTo = append(f.AppliesTo, a)
	}
	return f
}

func kindOf(err error) fault.Kind {
	var e *fault.Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return ""
}

func TestTable(t *testing.T) {
	bracket := fastener("bracket", "Bracket bolt", "20 N.m", "side=left")
	bracket.Place = "engine"
	s := newShop(t, vehicle(),
		fastener("late", "Hub nut", "220 N.m", "rear_brake=disc,built=2019-W27.."),
		fastener("early", "Hub nut", "240 N.m", "rear_brake=disc,built=..2019-W26"),
		fastener("drum", "Hub cap nut", "40 N.m", "rear_brake=drum"), bracket,
	)
	for _, c := range []struct {
		name, place string
		known       whom.Stated
		rows, open  string
	}{
		{"everything", "", whom.Stated{}, "bracket drum early late", "built rear_brake side"},
		{"a place", "engine", whom.Stated{}, "bracket", "side"},
		{"options", "", whom.Stated{Options: []string{"rear_brake=disc"}}, "bracket early late", "built side"},
		{"options and build", "", whom.Stated{Options: []string{"rear_brake=disc"}, Built: "2020-W01"}, "bracket late", "side"},
		{"all that decides", "", whom.Stated{Options: []string{"rear_brake=drum"}, Side: "right"}, "drum", ""},
		{"a place without fasteners", "roof", whom.Stated{}, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			// Page by page, whatever the size of a page.
			for size := int32(1); size <= 5; size++ {
				var rows, open []string
				p := ask.Page{Size: size}
				for {
					table, err := s.Table(t.Context(), "vehicles/tern-1", c.place, c.known, p, ask.Newest())
					if err != nil {
						t.Fatal(err)
					}
					open = nil
					for _, v := range table.Fasteners {
						rows = append(rows, v.Name.ID())
					}
					for _, q := range table.Undecided {
						open = append(open, q.Key)
					}
					if p.Token = table.Next; p.Token == "" {
						break
					}
				}
				if strings.Join(rows, " ") != c.rows || strings.Join(open, " ") != c.open {
					t.Errorf("pages of %d: rows %v undecided %v, want %q %q", size, rows, open, c.rows, c.open)
				}
			}
		})
	}
}

func TestPages(t *testing.T) {
	var rs []specdata.Record
	for i := range 25 {
		rs = append(rs, fastener(fmt.Sprintf("f-%02d", i), "Nut", "20 N.m"))
	}
	s := newShop(t, rs...)
	q := store.Query{Kind: specdata.KindFastener, Place: "rear hub"}
	read := func(ctx context.Context, size int32) (ids []string) {
		p := ask.Page{Size: size}
		for {
			views, next, position, err := s.List(ctx, q, p, ask.Newest())
			if err != nil {
				t.Fatal(err)
			}
			if position != 1 {
				t.Fatalf("page is of position %d; all pages answer for the moment of the first", position)
			}
			for _, v := range views {
				ids = append(ids, v.Name.ID())
			}
			if len(ids) == 5 {
				s.publish(t, fastener("f-00a", "Nut", "20 N.m"), fastener("f-30", "Nut", "20 N.m")) // between two pages
			}
			if next == "" {
				return ids
			}
			if len(views) != int(size) {
				t.Fatalf("page of %d has a successor and %d answers", size, len(views))
			}
			p.Token = next
		}
	}
	ids := read(t.Context(), 5)
	if len(ids) != 25 || !slices.IsSorted(ids) || len(slices.Compact(ids)) != 25 {
		t.Errorf("read %d: %v", len(ids), ids)
	}
}

func TestPageTokensAreBoundToTheirRequest(t *testing.T) {
	s := newShop(t, fastener("a", "Nut", "20 N.m"), fastener("b", "Nut", "20 N.m"), fastener("c", "Nut", "20 N.m"))
	q := store.Query{Kind: specdata.KindFastener}
	_, token, _, err := s.List(t.Context(), q, ask.Page{Size: 1}, ask.Newest())
	if err != nil || token == "" {
		t.Fatal(token, err)
	}
	other := q
	other.Place = "rear hub"
	for name, try := range map[string]func() error{
		"another filter": func() error {
			_, _, _, err := s.List(t.Context(), other, ask.Page{Size: 1, Token: token}, ask.Newest())
			return err
		},
		"another moment": func() error {
			m, err := ask.When("at", "position:1", 0)
			if err != nil {
				return err
			}
			_, _, _, err = s.List(t.Context(), q, ask.Page{Size: 1, Token: token}, m)
			return err
		},
		"another method": func() error {
			_, _, _, err := s.Uses(t.Context(), "fasteners/a", ask.Page{Token: token}, ask.Newest())
			return err
		},
		"another store": func() error {
			_, _, _, err := newShop(t, fastener("a", "Nut", "20 N.m")).List(t.Context(), q, ask.Page{Size: 1, Token: token}, ask.Newest())
			return err
		},
		"cut short": func() error {
			_, _, _, err := s.List(t.Context(), q, ask.Page{Token: token[:len(token)-2]}, ask.Newest())
			return err
		},
		"made up": func() error {
			_, _, _, err := s.List(t.Context(), q, ask.Page{Token: "bm90IGEgdG9rZW4gYXQgYWxs"}, ask.Newest())
			return err
		},
	} {
		if err := try(); kindOf(err) != fault.PageTokenInvalid {
			t.Errorf("%s: got %v, want %s", name, err, fault.PageTokenInvalid)
		}
	}
	// The size of the page may change from page to page (AIP-158).
	views, _, _, err := s.List(t.Context(), q, ask.Page{Size: 9, Token: token}, ask.Newest())
	if err != nil || len(views) != 2 {
		t.Errorf("with another size: %d, %v", len(views), err)
	}
}

func TestReadsInTime(t *testing.T) {
	s := newShop(t, fastener("a", "Nut", "20 N.m"))
	s.publish(t, fastener("a", "Nut", "22 N.m"))
	s.withdraw(t, "fasteners/a", "the thread was never this one")
	if err := s.store.SetRelease(t.Context(), store.Release{Name: "first", Position: 1, Time: time.Unix(1_000_000_000, 0), By: "a"}); err != nil {
		t.Fatal(err)
	}
	replacement := fastener("a-2", "Nut", "25 N.m")
	replacement.Replaces = "a"
	s.publish(t, replacement)
	read := func(at string) (string, int64, error) {
		m, err := ask.When("at", at, 0)
		if err != nil {
			return "", 0, err
		}
		v, position, err := s.View(t.Context(), "fasteners/a", m)
		if err != nil {
			return "", 0, err
		}
		return v.Message.(*pb.Fastener).Summary, position, nil
	}
	for _, c := range []struct {
		at, summary string
		position    int64
		kind        fault.Kind
		says        string
	}{
		{"position:1", "20 N·m (15 lbf·ft)", 1, "", ""},
		{"time:0001-01-01T00:00:00Z", "", 0, fault.InvalidArgument, "never set"}, // once the newest value
		{"position:2", "22 N·m (16 lbf·ft)", 2, "", ""},
		{"release:first", "20 N·m (15 lbf·ft)", 1, "", ""},
		{"position:3", "", 0, fault.RecordWithdrawn, "never this one"},
		{"", "", 0, fault.RecordWithdrawn, "fasteners/a-2 takes its place"},
		{"time:2001-01-01T00:00:00Z", "", 0, fault.MomentNotFound, "first publication"},
		{"release:second", "", 0, fault.MomentNotFound, "release"},
		{"position:99", "", 0, fault.PositionNotPublished, "newest is 4"},
	} {
		for range 2 { // the second time from whatever was cached
			summary, position, err := read(c.at)
			if summary != c.summary || position != c.position || kindOf(err) != c.kind || err != nil && !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q: got %q at %d, %v", c.at, summary, position, err)
			}
		}
	}
	revs, _, _, err := s.Revisions(t.Context(), "fasteners/a", ask.Page{}, ask.Newest())
	if err != nil || len(revs) != 3 || !revs[0].Withdrawn || revs[2].Number != 1 {
		t.Errorf("history is %v, %v", revs, err)
	}
}

// A view that shows another record changes when that record does, and only then.
func TestViewsFollowWhatTheyShow(t *testing.T) {
	source := func(title string) *specdata.Source {
		return &specdata.Source{Head: specdata.Head{Kind: specdata.KindSource, ID: "book", Title: title}}
	}
	f := fastener("a", "Nut", "20 N.m")
	f.Source = &specdata.Citation{Document: "book"}
	s := newShop(t, f)
	read := func() (title, tag string) {
		t.Helper()
		v, _, err := s.View(t.Context(), "fasteners/a", ask.Newest())
		if err != nil {
			t.Fatal(err)
		}
		return v.Message.(*pb.Fastener).Source.Title, v.ETag
	}
	title, absent := read()
	if title != "" {
		t.Fatalf("title of a source that is not there is %q", title)
	}
	s.publish(t, source("First print"))
	title, first := read()
	if title != "First print" || first == absent {
		t.Errorf("after the source appeared the view says %q, validator changed: %t", title, first != absent)
	}
	s.publish(t, fastener("unrelated", "Bolt", "10 N.m"))
	if title, same := read(); title != "First print" || same != first {
		t.Error("an unrelated publication changed the view or its validator")
	}
	s.publish(t, source("Second print"))
	if title, second := read(); title != "Second print" || second == first {
		t.Errorf("after the source changed the view says %q, validator changed: %t", title, second != first)
	}
}

func TestMinPosition(t *testing.T) {
	s := newShop(t, fastener("a", "Nut", "20 N.m"))
	m, err := ask.When("at", "", 2)
	if err != nil {
		t.Fatal(err)
	}
	_, _, err = s.View(t.Context(), "fasteners/a", m)
	var e *fault.Error
	if !errors.As(err, &e) || e.Kind != fault.PositionAhead || e.RetryAfter == 0 {
		t.Errorf("a position that does not arrive gives %v", err)
	}
	done := make(chan error)
	go func() {
		_, position, err := s.View(t.Context(), "fasteners/a", m)
		if err == nil && position < 2 {
			err = fmt.Errorf("answered for position %d", position)
		}
		done <- err
	}()
	s.publish(t, fastener("b", "Nut", "20 N.m"))
	if err := <-done; err != nil {
		t.Errorf("a position that arrives while waiting gives %v", err)
	}
}

func TestSearchPages(t *testing.T) {
	var rs []specdata.Record
	for i := range 12 {
		rs = append(rs, fastener(fmt.Sprintf("f-%02d", i), "Hub nut", "20 N.m"))
	}
	s := newShop(t, rs...)
	seen := map[specdata.Name]bool{}
	p := ask.Page{Size: 5}
	for {
		found, err := s.Search(t.Context(), "hub", specdata.KindFastener, p, ask.Newest())
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range found.Hits {
			seen[h.Name] = true
		}
		if p.Token = found.Next; p.Token == "" {
			break
		}
	}
	if len(seen) != 12 {
		t.Errorf("found %d of 12", len(seen))
	}
}
