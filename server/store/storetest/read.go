package storetest

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"proofload/server/store"
	"proofload/specdata"
)

// Reads at a fixed position always give the same answer.
func asOf(t *testing.T, w *world) {
	name := Bolt(1, 0).Name()
	var documents [][]byte
	for i := range 5 {
		c := w.put(Bolt(1, 60+i), int64(i))
		documents = append(documents, c.Document)
		w.publish(c)
		w.publish(w.put(Bolt(100+i, 60), 0)) // another record, which changes nothing for this one
		if i == 1 {
			if err := w.SetRelease(w.ctx, store.Release{Name: "2026.1", Position: 3, By: "ada", Time: Epoch}); err != nil {
				t.Fatal(err)
			}
		}
		for at := int64(1); at <= w.head().Position; at++ {
			r := w.get(name, at)
			number := (at + 1) / 2
			if r.Number != number || r.Position != 2*number-1 || !bytes.Equal(r.Document, documents[number-1]) {
				t.Fatalf("at position %d, with the head at %d: revision %d of position %d, want %d", at, w.head().Position, r.Number, r.Position, number)
			}
			at2, err := w.Resolve(w.ctx, store.AtPosition(at))
			if at2 != at || err != nil {
				t.Errorf("Resolve of position %d gives %d, %v", at, at2, err)
			}
			// Publication makes its times by number, which is the position here.
			at3, err := w.Resolve(w.ctx, store.AtTime(Publication(int(at)).Time))
			if at3 != at || err != nil {
				t.Errorf("Resolve of the time of position %d gives %d, %v", at, at3, err)
			}
		}
	}
	at, err := w.Resolve(w.ctx, store.AtRelease("2026.1"))
	if at != 3 || err != nil {
		t.Errorf("Resolve of the release gives %d, %v; want 3", at, err)
	}
	_, err = w.Resolve(w.ctx, store.AtRelease("2027.1"))
	w.wantErr("Resolve of an unknown release", err, store.ErrNotFound)
	_, err = w.Resolve(w.ctx, store.AtPosition(11))
	w.wantErr("Resolve of a position to come", err, store.ErrFuture)
	_, err = w.Get(w.ctx, "fasteners/quill-1-bolt-000104", 9)
	w.wantErr("Get before the record was there", err, store.ErrNotFound)
	for what, call := range map[string]func() error{
		"Get":       func() error { _, err := w.Get(w.ctx, name, 11); return err },
		"Revisions": func() error { _, err := w.Revisions(w.ctx, name, 11, 0, 1); return err },
		"List": func() error {
			_, err := w.List(w.ctx, store.Query{Kind: specdata.KindFastener, Limit: 1}, 11)
			return err
		},
		"Uses":      func() error { _, err := w.Uses(w.ctx, name, 11); return err },
		"Log":       func() error { _, err := w.Log(w.ctx, 0, 11, 1); return err },
		"Log after": func() error { _, err := w.Log(w.ctx, 11, 10, 1); return err },
	} {
		w.wantErr(what+" at a position to come", call(), store.ErrFuture)
	}
	w.sound()
}

func revisions(t *testing.T, w *world) {
	name := Bolt(1, 0).Name()
	for i := range 7 {
		w.publish(w.put(Bolt(1, 60+i), int64(i)))
	}
	for _, c := range []struct {
		at, before int64
		limit      int
		want       []int64
	}{
		{7, 0, 10, []int64{7, 6, 5, 4, 3, 2, 1}},
		{7, 0, 3, []int64{7, 6, 5}},
		{7, 5, 3, []int64{4, 3, 2}},
		{7, 2, 3, []int64{1}},
		{7, 1, 3, nil},
		{4, 0, 2, []int64{4, 3}},
		{4, 7, 2, []int64{4, 3}},
		{1, 0, 2, []int64{1}},
	} {
		rs, err := w.Revisions(w.ctx, name, c.at, c.before, c.limit)
		if err != nil {
			t.Fatal(err)
		}
		var got []int64
		for _, r := range rs {
			got = append(got, r.Number)
		}
		equal(t, "numbers", got, c.want)
	}
	for number := int64(1); number <= 7; number++ {
		if r, err := w.GetRevision(w.ctx, name, number); err != nil || r.Number != number || r.Position != number {
			t.Errorf("GetRevision %d gives %+v, %v", number, r, err)
		}
	}
	for _, number := range []int64{-1, 0, 8} {
		_, err := w.GetRevision(w.ctx, name, number)
		w.wantErr("GetRevision of a number that there is not", err, store.ErrNotFound)
	}
	_, err := w.Revisions(w.ctx, name, 0, 0, 10)
	w.wantErr("Revisions before the first", err, store.ErrNotFound)
	_, err = w.Revisions(w.ctx, "fasteners/other", 7, 0, 10)
	w.wantErr("Revisions of no record", err, store.ErrNotFound)
}

// stock publishes a small library at position 1, changes it at 2 and 3.
func stock(w *world) {
	clamp, wheel, bearing := specdata.JointClamp, specdata.JointWheel, specdata.JointBearing
	w.publish(
		w.put(vehicle("quill-1", "Quill", "One"), 0),
		w.put(vehicle("quill-2", "Quill", "Two"), 0),
		w.put(source("quill-chassis", "Chassis sheets", "Quill Works"), 0),
		w.put(source("bench-notes", "Bench notes", "Hill Garage", "quill-chassis"), 0),
		w.put(Fastener("a-hub-nut", "Stub-axle collar nut", "rear hub", "M24x1.5", bearing, 240, "quill-chassis", "quill-1"), 0),
		w.put(Fastener("b-carrier-bolt", "Caliper carrier bolt", "rear hub", "M12x1.5", clamp, 105, "quill-chassis", "quill-1", "quill-2"), 0),
		w.put(Fastener("c-wheel-bolt", "Wheel bolt", "wheel", "M12x1.5", wheel, 110, "bench-notes", "quill-2", "quill-2"), 0),
		w.put(Fastener("d-cover-screw", "Cover screw", "rear hub", "", clamp, 8, "", "wren-3"), 0),
		w.put(assembly("rear-corner", "Rear corner", "rear hub", "quill-1", "a-hub-nut", "b-carrier-bolt"), 0),
		w.put(procedure("rear-bearing", "Renew the rear wheel bearing", "quill-1", "rear-corner", "a-hub-nut", "c-wheel-bolt"), 0),
	)
	w.publish(
		w.put(Fastener("a-hub-nut", "Stub-axle collar nut", "rear hub", "M22x1.5", bearing, 235, "bench-notes", "quill-2"), 1),
		w.put(Fastener("e-drain-plug", "Drain plug", "sump", "M14x1.5", specdata.JointPlug, 25, "bench-notes", "quill-1"), 0),
	)
	w.publish(w.withdraw("fasteners/b-carrier-bolt", 1))
}

// list runs a query and returns the ids.
func (w *world) list(q store.Query, at int64) []string {
	w.t.Helper()
	if q.Limit == 0 {
		q.Limit = 100
	}
	rs, err := w.List(w.ctx, q, at)
	if err != nil {
		w.t.Fatalf("List(%+v, %d): %v", q, at, err)
	}
	ids := []string{}
	for _, r := range rs {
		if r.Name.Kind() != q.Kind || r.Position > at {
			w.t.Errorf("List(%+v, %d) gives %s of position %d", q, at, r.Name, r.Position)
		}
		ids = append(ids, r.Name.ID())
	}
	return ids
}

// Any mixture of filters; a record matches all of them.
func filters(t *testing.T, w *world) {
	stock(w)
	f := specdata.KindFastener
	for _, c := range []struct {
		q    store.Query
		want [4]string // at positions 0 to 3
	}{
		{store.Query{Kind: f}, [4]string{"", "a-hub-nut b-carrier-bolt c-wheel-bolt d-cover-screw", "a-hub-nut b-carrier-bolt c-wheel-bolt d-cover-screw e-drain-plug", "a-hub-nut c-wheel-bolt d-cover-screw e-drain-plug"}},
		{store.Query{Kind: f, Withdrawn: true}, [4]string{"", "a-hub-nut b-carrier-bolt c-wheel-bolt d-cover-screw", "a-hub-nut b-carrier-bolt c-wheel-bolt d-cover-screw e-drain-plug", "a-hub-nut b-carrier-bolt c-wheel-bolt d-cover-screw e-drain-plug"}},
		{store.Query{Kind: f, Vehicle: "quill-1"}, [4]string{"", "a-hub-nut b-carrier-bolt", "b-carrier-bolt e-drain-plug", "e-drain-plug"}},
		{store.Query{Kind: f, Vehicle: "quill-1", Withdrawn: true}, [4]string{"", "a-hub-nut b-carrier-bolt", "b-carrier-bolt e-drain-plug", "b-carrier-bolt e-drain-plug"}},
		{store.Query{Kind: f, Vehicle: "quill-2"}, [4]string{"", "b-carrier-bolt c-wheel-bolt", "a-hub-nut b-carrier-bolt c-wheel-bolt", "a-hub-nut c-wheel-bolt"}},
		{store.Query{Kind: f, Vehicle: "quill-9"}, [4]string{"", "", "", ""}},
		{store.Query{Kind: f, Place: "rear hub"}, [4]string{"", "a-hub-nut b-carrier-bolt d-cover-screw", "a-hub-nut b-carrier-bolt d-cover-screw", "a-hub-nut d-cover-screw"}},
		{store.Query{Kind: f, Place: "rear"}, [4]string{"", "", "", ""}},
		{store.Query{Kind: f, Thread: "M12x1.5"}, [4]string{"", "b-carrier-bolt c-wheel-bolt", "b-carrier-bolt c-wheel-bolt", "c-wheel-bolt"}},
		{store.Query{Kind: f, Thread: "M24x1.5"}, [4]string{"", "a-hub-nut", "", ""}},
		{store.Query{Kind: f, Joint: "clamp"}, [4]string{"", "b-carrier-bolt d-cover-screw", "b-carrier-bolt d-cover-screw", "d-cover-screw"}},
		{store.Query{Kind: f, Source: "quill-chassis"}, [4]string{"", "a-hub-nut b-carrier-bolt", "b-carrier-bolt", ""}},
		{store.Query{Kind: f, Source: "bench-notes"}, [4]string{"", "c-wheel-bolt", "a-hub-nut c-wheel-bolt e-drain-plug", "a-hub-nut c-wheel-bolt e-drain-plug"}},
		{store.Query{Kind: f, Vehicle: "quill-2", Source: "bench-notes"}, [4]string{"", "c-wheel-bolt", "a-hub-nut c-wheel-bolt", "a-hub-nut c-wheel-bolt"}},
		{store.Query{Kind: f, Vehicle: "quill-2", Thread: "M12x1.5", Joint: "wheel"}, [4]string{"", "c-wheel-bolt", "c-wheel-bolt", "c-wheel-bolt"}},
		{store.Query{Kind: f, Place: "rear hub", Thread: "M12x1.5", Joint: "clamp", Vehicle: "quill-1", Source: "quill-chassis"}, [4]string{"", "b-carrier-bolt", "b-carrier-bolt", ""}},
		{store.Query{Kind: f, Place: "rear hub", Thread: "M12x1.5"}, [4]string{"", "b-carrier-bolt", "b-carrier-bolt", ""}},
		{store.Query{Kind: f, Place: "rear hub", Thread: "M12x1.5", Withdrawn: true}, [4]string{"", "b-carrier-bolt", "b-carrier-bolt", "b-carrier-bolt"}},
		{store.Query{Kind: specdata.KindVehicle}, [4]string{"", "quill-1 quill-2", "quill-1 quill-2", "quill-1 quill-2"}},
		{store.Query{Kind: specdata.KindVehicle, Place: "rear hub"}, [4]string{"", "", "", ""}},
		{store.Query{Kind: specdata.KindSource}, [4]string{"", "bench-notes quill-chassis", "bench-notes quill-chassis", "bench-notes quill-chassis"}},
		// Superseding a source is no citation of it.
		{store.Query{Kind: specdata.KindSource, Source: "quill-chassis"}, [4]string{"", "", "", ""}},
		{store.Query{Kind: specdata.KindAssembly, Place: "rear hub", Vehicle: "quill-1"}, [4]string{"", "rear-corner", "rear-corner", "rear-corner"}},
		{store.Query{Kind: specdata.KindProcedure, Vehicle: "quill-1"}, [4]string{"", "rear-bearing", "rear-bearing", "rear-bearing"}},
	} {
		for at, want := range c.want {
			if got := strings.Join(w.list(c.q, int64(at)), " "); got != want {
				t.Errorf("List(%+v) at position %d gives %q, want %q", c.q, at, got, want)
			}
		}
	}
	w.sound()
}

// Pages join without overlap or hole, forwards and backwards, and a page at a fixed
// position does not change with what is published behind it.
func paging(t *testing.T, w *world) {
	const n = 25
	var want []string
	for i := range n {
		w.publish(w.put(Bolt(2*i, 60), 0))
		want = append(want, Bolt(2*i, 0).ID)
	}
	at := w.head().Position
	for _, q := range []store.Query{
		{Kind: specdata.KindFastener},
		{Kind: specdata.KindFastener, Vehicle: "quill-1"},
		{Kind: specdata.KindFastener, Place: "rear hub"},
		{Kind: specdata.KindFastener, Thread: "M12x1.5", Joint: "clamp"},
		{Kind: specdata.KindFastener, Vehicle: "quill-1", Source: "quill-chassis"},
	} {
		for _, size := range []int{1, 7, n, 100} {
			q.Limit = size
			var forwards, backwards []string
			for round := 0; ; round++ {
				page := w.list(q, at)
				forwards = append(forwards, page...)
				if len(page) < size {
					break
				}
				q.After = page[size-1]
				if round == 0 && size == 7 {
					// Between, before and behind, and one that was there withdrawn.
					base := w.head().Position
					w.publish(w.put(Bolt(int(base)*100+1, 60), 0), w.put(Fastener("a-"+page[0], "t", "rear hub", "M12x1.5", specdata.JointClamp, 60, "quill-chassis", "quill-1"), w.numberOf("fasteners/"+specdata.Name("a-"+page[0]))))
				}
			}
			q.After, q.Before = "", "zzz"
			for {
				page := w.list(q, at)
				backwards = append(backwards, page...)
				if len(page) < size {
					break
				}
				q.Before = page[size-1]
			}
			q.Before = ""
			slices.Reverse(backwards)
			equal(t, "pages forwards", forwards, want)
			equal(t, "pages backwards", backwards, want)
		}
	}
	// Ends that are between or not there at all.
	q := store.Query{Kind: specdata.KindFastener, Limit: 2}
	q.After = Bolt(3, 0).ID
	equal(t, "page after an id that is not there", w.list(q, at), want[2:4])
	q.After, q.Before = "", Bolt(3, 0).ID
	equal(t, "page before an id that is not there", w.list(q, at), []string{want[1], want[0]})
	q.Before = want[0]
	equal(t, "page before the first", w.list(q, at), []string{})
	q.Before, q.After = "", want[n-1]
	equal(t, "page after the last", w.list(q, at), []string{})
	w.sound()
}

// numberOf returns the record's current revision number, 0 for none.
func (w *world) numberOf(name specdata.Name) int64 {
	r, err := w.Get(w.ctx, name, w.head().Position)
	if err != nil {
		return 0
	}
	return r.Number
}

func uses(t *testing.T, w *world) {
	stock(w)
	for _, c := range []struct {
		of   specdata.Name
		want [4]string
	}{
		{"vehicles/quill-1", [4]string{"", "assemblies/rear-corner fasteners/a-hub-nut fasteners/b-carrier-bolt procedures/rear-bearing", "assemblies/rear-corner fasteners/b-carrier-bolt fasteners/e-drain-plug procedures/rear-bearing", "assemblies/rear-corner fasteners/e-drain-plug procedures/rear-bearing"}},
		{"vehicles/quill-2", [4]string{"", "fasteners/b-carrier-bolt fasteners/c-wheel-bolt", "fasteners/a-hub-nut fasteners/b-carrier-bolt fasteners/c-wheel-bolt", "fasteners/a-hub-nut fasteners/c-wheel-bolt"}},
		{"sources/quill-chassis", [4]string{"", "fasteners/a-hub-nut fasteners/b-carrier-bolt sources/bench-notes", "fasteners/b-carrier-bolt sources/bench-notes", "sources/bench-notes"}},
		{"fasteners/a-hub-nut", [4]string{"", "assemblies/rear-corner procedures/rear-bearing", "assemblies/rear-corner procedures/rear-bearing", "assemblies/rear-corner procedures/rear-bearing"}},
		// Withdrawn at position 3, and still referred to.
		{"fasteners/b-carrier-bolt", [4]string{"", "assemblies/rear-corner", "assemblies/rear-corner", "assemblies/rear-corner"}},
		{"assemblies/rear-corner", [4]string{"", "procedures/rear-bearing", "procedures/rear-bearing", "procedures/rear-bearing"}},
		{"fasteners/none", [4]string{"", "", "", ""}},
	} {
		for at, want := range c.want {
			ns, err := w.Uses(w.ctx, c.of, int64(at))
			if err != nil {
				t.Fatal(err)
			}
			got := []string{}
			for _, n := range ns {
				got = append(got, string(n))
			}
			if strings.Join(got, " ") != want {
				t.Errorf("Uses of %s at position %d gives %q, want %q", c.of, at, got, want)
			}
		}
	}
	w.sound()
}

func search(t *testing.T, w *world) {
	stock(w)
	w.publish(w.put(Fastener("f-long", "Wheel bolt of the spare wheel under the boot floor", "boot", "7/16-20 UNF", specdata.JointWheel, 80, "quill-chassis", "quill-1"), 0))
	for _, c := range []struct {
		text string
		kind specdata.Kind
		want string // sorted
	}{
		{"collar nut", "", "fasteners/a-hub-nut"},
		{"NUT Collar", "", "fasteners/a-hub-nut"},
		{"axle", "", "fasteners/a-hub-nut"},
		{"stub-axle", "", "fasteners/a-hub-nut"},
		{"collar bolt", "", ""},
		{"rear hub", "", "assemblies/rear-corner fasteners/a-hub-nut fasteners/d-cover-screw"},
		{"rear hub", specdata.KindFastener, "fasteners/a-hub-nut fasteners/d-cover-screw"},
		{"rear", specdata.KindProcedure, "procedures/rear-bearing"},
		{"carrier", "", ""}, // withdrawn
		{"M24x1.5", "", ""}, // changed to M22
		{"M22x1.5", "", "fasteners/a-hub-nut"},
		{"m22 × 1.5", "", ""}, // three words, and 1.5 alone is none of it
		{"M22×1.5", "", "fasteners/a-hub-nut"},
		{"m22", "", "fasteners/a-hub-nut"},
		{"m2", "", ""},
		{"7/16", "", "fasteners/f-long"},
		{"7/16-20 unf", "", "fasteners/f-long"},
		{"Quill", "", "sources/quill-chassis vehicles/quill-1 vehicles/quill-2"},
		{"quill two", "", "vehicles/quill-2"},
		{"hill garage", "", "sources/bench-notes"},
		{"wheel bolt", "", "fasteners/c-wheel-bolt fasteners/f-long"},
		{"", "", ""},
		{" - \"*(", "", ""},
		{"bolt AND NOT wheel", "", ""},
		{"bolt OR screw", "", ""},
		{"boot*", "", "fasteners/f-long"}, // a star is no part of a word
		{"=fastener", "", ""},
	} {
		hits, err := w.Search(w.ctx, c.text, c.kind, 100)
		if err != nil {
			t.Errorf("Search(%q, %q): %v", c.text, c.kind, err)
			continue
		}
		got := []string{}
		for _, h := range hits {
			got = append(got, string(h.Name))
		}
		slices.Sort(got)
		if strings.Join(got, " ") != c.want {
			t.Errorf("Search(%q, %q) gives %q, want %q", c.text, c.kind, got, c.want)
		}
	}
	hits, err := w.Search(w.ctx, "wheel bolt", "", 1)
	if err != nil {
		t.Fatal(err)
	}
	// The title that is all of what was asked for beats one that has much besides.
	equal(t, "best hit", hits, []store.Hit{{Name: "fasteners/c-wheel-bolt", Title: "Wheel bolt", Place: "wheel"}})
	for text, want := range map[string]store.Hit{
		"quill one":      {Name: "vehicles/quill-1", Title: "Quill One", Place: "Quill One"},
		"bench notes":    {Name: "sources/bench-notes", Title: "Bench notes", Place: "Hill Garage"},
		"rear corner":    {Name: "assemblies/rear-corner", Title: "Rear corner", Place: "rear hub"},
		"renew bearing":  {Name: "procedures/rear-bearing", Title: "Renew the rear wheel bearing", Place: "quill-1"},
		"collar nut hub": {Name: "fasteners/a-hub-nut", Title: "Stub-axle collar nut", Place: "rear hub"},
	} {
		if hits, err := w.Search(w.ctx, text, "", 10); err != nil || len(hits) != 1 || hits[0] != want {
			t.Errorf("Search(%q) gives %+v, %v; want %+v", text, hits, err, want)
		}
	}
	// What is revived is found again.
	w.publish(w.put(Fastener("b-carrier-bolt", "Carrier screw", "front hub", "", specdata.JointClamp, 105, "", "wren-3"), 2))
	if hits, err := w.Search(w.ctx, "carrier", "", 10); err != nil || len(hits) != 1 || hits[0].Title != "Carrier screw" {
		t.Errorf("Search of a revived record gives %+v, %v", hits, err)
	}
	w.sound()
}

// Log returns whole positions, about as many revisions as asked for.
func logWhole(t *testing.T, w *world) {
	sizes := []int{1, 3, 2, 10, 1, 1, 1}
	var want []specdata.Name
	starts := []int{0} // starts[p] is the number of revisions up to position p
	for i, size := range sizes {
		var changes []store.Change
		for j := range size {
			changes = append(changes, w.put(Bolt(100*i+size-j, 60), 0))
		}
		w.publish(changes...)
		for _, c := range changes {
			want = append(want, c.Name)
		}
		starts = append(starts, len(want))
	}
	for _, c := range []struct {
		after, upTo int64
		limit       int
		last        int64 // the last position given, after itself for none
	}{
		{0, 7, 1000, 7}, {0, 7, 1, 1}, {0, 7, 3, 1}, {0, 7, 4, 2}, {0, 7, 5, 2}, {0, 7, 6, 3}, {3, 7, 1, 4}, {3, 7, 11, 5}, {3, 7, 9, 4},
		{4, 7, 2, 6}, {6, 7, 1, 7}, {7, 7, 1, 7}, {0, 2, 1000, 2}, {2, 1, 1000, 2}, {0, 0, 1000, 0},
	} {
		rs, err := w.Log(w.ctx, c.after, c.upTo, c.limit)
		if err != nil {
			t.Fatal(err)
		}
		wantNames := append([]specdata.Name{}, want[starts[c.after]:starts[c.last]]...)
		if !slices.Equal(names(rs), wantNames) {
			t.Errorf("Log(%d, %d, %d) gives %v, want %v", c.after, c.upTo, c.limit, names(rs), wantNames)
		}
	}
	// A reader that continues behind what it has seen meets everything once.
	for _, limit := range []int{1, 2, 5, 100} {
		var got []specdata.Name
		for after := int64(0); ; {
			rs, err := w.Log(w.ctx, after, 7, limit)
			if err != nil {
				t.Fatal(err)
			}
			if len(rs) == 0 {
				break
			}
			got = append(got, names(rs)...)
			after = rs[len(rs)-1].Position
		}
		equal(t, "the whole log", got, want)
	}
}

func releases(t *testing.T, w *world) {
	for i := range 3 {
		w.publish(w.put(Bolt(i, 60), 0))
	}
	r := func(name string, at int64) store.Release {
		return store.Release{Name: name, Position: at, Note: "spring \"26\"", By: "ada", Time: Epoch.Add(5)}
	}
	for _, x := range []store.Release{r("b", 2), r("c", 1), r("A.1_x-2", 2)} {
		if err := w.SetRelease(w.ctx, x); err != nil {
			t.Fatal(err)
		}
	}
	again := r("b", 2)
	again.Note = "another note"
	if err := w.SetRelease(w.ctx, again); err != nil {
		t.Errorf("naming the same position again: %v", err)
	}
	w.unchanged("naming another position", store.ErrConflict, func() error { return w.SetRelease(w.ctx, r("b", 3)) })
	w.unchanged("naming a position to come", store.ErrFuture, func() error { return w.SetRelease(w.ctx, r("d", 4)) })
	got, err := w.Releases(w.ctx)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "releases", got, []store.Release{r("c", 1), r("A.1_x-2", 2), r("b", 2)})
	equal(t, "head", w.head().Position, 3)
	w.sound()
}
