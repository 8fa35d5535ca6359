package desk_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proofload/server/ask"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

const (
	hubJob = specdata.Name("procedures/quill-1-rear-hub-bearing")
	hubOf  = specdata.Name("assemblies/quill-1-rear-hub-disc")
)

func (w *world) release(name string) {
	w.Helper()
	if err := w.store.SetRelease(w.Context(), store.Release{Name: name, Position: w.head(), By: "maud", Time: w.now()}); err != nil {
		w.Fatal(err)
	}
}

func (w *world) print(code string, printed time.Time, records map[specdata.Name]int64) {
	w.Helper()
	if err := w.desk.NotePrint(w.Context(), desk.Print{Code: code, Procedure: hubJob, Records: records, By: "piet", Printed: printed}); err != nil {
		w.Fatal(tell(err))
	}
}

// Who rests on an old value is found through procedures, releases, prints and reads;
// who has the new one is not.
func TestReach(t *testing.T) {
	w := newWorld(t)
	w.release("before")
	day := w.now()
	w.print("OLD-1", day, map[specdata.Name]int64{hubNut: 1, hubJob: 1})
	w.print("AHEAD-1", day, map[specdata.Name]int64{hubNut: 2}) // by a server that is ahead
	w.print("ELSE-1", day, map[specdata.Name]int64{sumpPlug: 1})
	w.reads.Note("tok-old", hubNut, 1)
	w.reads.Note("tok-job", hubJob, 1)
	w.reads.Note("tok-else", sumpPlug, 1)
	w.reads.Note("", hubNut, 1)
	c := w.propose(maud, torque(hubNut, 1, 230, 170))
	asked, _, err := w.desk.Reach(t.Context(), c.ID, ask.Page{})
	if err != nil {
		t.Fatal(tell(err))
	}
	c = w.publish(rhea, w.approve(rhea, c))
	if encode(asked) != encode(c.Reach) {
		t.Errorf("asked for before it was\n%s\npublished with\n%s", encode(asked), encode(c.Reach))
	}
	r := c.Reach
	// 240 to 230 N·m is down by 4.2 %; in lbf·ft 177 and 170 (NIST SP 811: 1 lbf·ft = 1.355818 N·m).
	want := []desk.Moved{{Name: hubNut, Rank: 1, Safety: "wheel", Change: specdata.MustQuantity("230 N.m").SI()/240 - 1,
		Why: "torque down 4.2 % from 240 N·m (177 lbf·ft) to 230 N·m (170 lbf·ft); joints made to the old value may be overtightened; safety: wheel"}}
	if encode(r.Records) != encode(want) {
		t.Errorf("records\n%s\nwant\n%s", encode(r.Records), encode(want))
	}
	if len(r.Procedures) != 1 || r.Procedures[0].Name != hubJob || r.Procedures[0].Title == "" || !slices.Equal(r.Procedures[0].Uses, []specdata.Name{hubNut}) {
		t.Errorf("procedures %+v", r.Procedures)
	}
	if !slices.Equal(r.Releases, []string{"before"}) {
		t.Errorf("releases %v", r.Releases)
	}
	if len(r.Sheets) != 1 || r.Sheets[0] != (desk.ReachedSheet{Code: "OLD-1", Procedure: hubJob, By: "piet", Printed: day.UTC()}) {
		t.Errorf("sheets %+v", r.Sheets)
	}
	var tokens []string
	for _, x := range r.Readers {
		tokens = append(tokens, x.Token)
		if !slices.Equal(x.Read, []specdata.Name{hubNut}) {
			t.Errorf("%s read %v", x.Token, x.Read)
		}
	}
	slices.Sort(tokens)
	if !slices.Equal(tokens, []string{"tok-job", "tok-old"}) {
		t.Errorf("readers %v", tokens)
	}

	// The next change concerns the old and the new value alike, and no later print.
	w.release("after")
	w.print("NEW-1", w.now(), map[specdata.Name]int64{hubNut: 2, hubJob: 1})
	w.reads.Note("tok-new", hubNut, 2)
	second := w.through(torque(hubNut, 2, 250, 184))
	w.print("NEWEST-1", w.now(), map[specdata.Name]int64{hubNut: 3, hubJob: 1})
	w.reads.Note("tok-newest", hubNut, 3)
	again, _, err := w.desk.Reach(t.Context(), second.ID, ask.Page{})
	if err != nil || encode(again) != encode(second.Reach) {
		t.Errorf("reach of a published correction moved to %s, %v", encode(again), err)
	}
	var codes []string
	for _, s := range again.Sheets {
		codes = append(codes, s.Code)
	}
	if !slices.Equal(codes, []string{"NEW-1", "AHEAD-1", "OLD-1"}) || !slices.Equal(again.Releases, []string{"after", "before"}) || len(again.Readers) != 3 {
		t.Errorf("sheets %v, releases %v, readers %+v", codes, again.Releases, again.Readers)
	}
	_, _, err = w.desk.Reach(t.Context(), "20260101-000000-000aaaaa", ask.Page{})
	w.refused(fault.CorrectionNotFound, nil, err)
}

// A procedure is reached through what it uses: the fastener of an assembly it works
// on, and what that rests on.
func TestReachGoesThroughOthers(t *testing.T) {
	w := newWorld(t)
	c := w.propose(maud, note("sources/quill-chassis-2018", 1, "Scanned again."), note(hubOf, 1, "Seen from behind."))
	r, _, err := w.desk.Reach(t.Context(), c.ID, ask.Page{})
	if err != nil {
		t.Fatal(tell(err))
	}
	through := map[specdata.Name][]specdata.Name{}
	for _, p := range r.Procedures {
		through[p.Name] = p.Uses
	}
	if !slices.Equal(through[hubJob], []specdata.Name{hubOf, "sources/quill-chassis-2018"}) {
		t.Errorf("reached %v", through)
	}
	if _, ok := through["procedures/pell-1-coolant-pump-renewal"]; ok {
		t.Error("a procedure that uses neither is reached")
	}
	for _, m := range r.Records {
		if m.Why != "changed: note" || m.Change != 0 {
			t.Errorf("%+v", m)
		}
	}
}

// Safety comes first, then withdrawals, then how far a torque moved, then up before down.
func TestReachIsRanked(t *testing.T) {
	w := newWorld(t)
	far, gone := specdata.Name("fasteners/quill-1-sump-plug"), unused
	for _, n := range []specdata.Name{far, gone} {
		if strings.Contains(string(w.record(n).Document), `"safety"`) {
			t.Fatalf("%s is a matter of safety now", n)
		}
	}
	c := w.propose(maud, torque(wheelNut, 1, 121, 89), torque(hubNut, 1, 216, 159), note(seatBolt, 1, "Belts."),
		desk.Change{Name: gone, Base: 1, Withdraw: true},
		patch(far, 1, `{"tightening":{"stages":[{"torque":"60 N.m"}]}}`), note(hubOf, 1, "Behind."))
	r, _, err := w.desk.Reach(t.Context(), c.ID, ask.Page{})
	if err != nil {
		t.Fatal(tell(err))
	}
	var got []string
	for i, m := range r.Records {
		if m.Rank != i+1 {
			t.Errorf("%s has rank %d, stands at %d", m.Name, m.Rank, i+1)
		}
		got = append(got, fmt.Sprintf("%s %s", m.Name.ID(), m.Why[:4]))
	}
	want := []string{"quill-1-wheel-nut torq", "quill-1-rear-hub-nut torq", "quill-1-front-seat-bolt chan", "pell-1-knock-sensor-bolt with", "quill-1-sump-plug torq", "quill-1-rear-hub-disc chan"}
	if !slices.Equal(got, want) {
		t.Errorf("ranked\n%q\nwant\n%q", got, want)
	}
	if !strings.Contains(r.Records[0].Why, "may be loose") || !strings.Contains(r.Records[1].Why, "may be overtightened") {
		t.Errorf("why: %q, %q", r.Records[0].Why, r.Records[1].Why)
	}
}

func TestNotePrintRefusals(t *testing.T) {
	w := newWorld(t)
	big := map[specdata.Name]int64{}
	for i := range 450 {
		big[specdata.Name(fmt.Sprintf("fasteners/f-%d", i))] = 1
	}
	huge := maps.Clone(big)
	for i := range 2000 {
		huge[specdata.Name(fmt.Sprintf("fasteners/g-%d", i))] = 1
	}
	one := map[specdata.Name]int64{hubNut: 1}
	for _, p := range []desk.Print{
		{Procedure: hubJob, Records: one, Printed: w.now()}, {Code: strings.Repeat("x", 81), Records: one, Printed: w.now()},
		{Code: "A", Printed: w.now()}, {Code: "A", Records: huge, Printed: w.now()}, {Code: "A", By: strings.Repeat("x", 100), Records: one, Printed: w.now()},
	} {
		w.refused(fault.InvalidArgument, nil, w.desk.NotePrint(t.Context(), p))
	}
	// A sheet of more records than a note has terms is found by each of them.
	big[hubNut] = 1
	w.print("BIG", w.now(), big)
	c := w.propose(maud, note(hubNut, 1, "Stake with a round punch."))
	r, _, err := w.desk.Reach(t.Context(), c.ID, ask.Page{})
	if err != nil || len(r.Sheets) != 1 || r.Sheets[0].Code != "BIG" {
		t.Errorf("sheets %+v, %v", r.Sheets, err)
	}
}

// Noting reads keeps to its memory, whatever comes, and writes the newest of each.
func TestReadsAreBounded(t *testing.T) {
	w := newWorld(t)
	var wg sync.WaitGroup
	for g := range 4 {
		wg.Go(func() {
			for i := range 20_000 {
				w.reads.Note(fmt.Sprint("tok-", g), specdata.Name(fmt.Sprintf("fasteners/f-%d", i)), 1)
			}
		})
	}
	wg.Wait()
	if w.reads.Dropped() == 0 {
		t.Error("80,000 reads at once were all kept waiting")
	}
	w.reads.Note(strings.Repeat("x", 200), hubNut, 1) // no key can hold it, and it must spoil no batch
	w.reads.Flush(t.Context())
	kept := 80_000 - w.reads.Dropped()
	n, after := int64(0), ""
	for {
		ns, err := w.store.ListNotes(t.Context(), store.NoteQuery{Space: "reads", After: after, Limit: store.MaxLimit})
		if err != nil {
			t.Fatal(err)
		}
		n += int64(len(ns))
		if len(ns) < store.MaxLimit {
			break
		}
		after = ns[len(ns)-1].Key
	}
	if n != kept || n == 0 || n > 16*1024 {
		t.Errorf("%d notes, %d reads were not dropped", n, kept)
	}
	w.reads.Note("tok", hubNut, 2)
	w.reads.Note("tok", hubNut, 1) // who has the newer one is told by that
	w.reads.Flush(t.Context())
	note, err := w.store.GetNote(t.Context(), "reads", "tok/"+string(hubNut))
	if err != nil || !strings.Contains(string(note.Body), `"revision":2`) {
		t.Errorf("note %s, %v", note.Body, err)
	}
	w.reads.Flush(t.Context())
	w.reads.Note("tok", hubNut, 2)
	w.reads.Flush(t.Context())
	if again, err := w.store.GetNote(t.Context(), "reads", "tok/"+string(hubNut)); err != nil || again.Version != note.Version {
		t.Errorf("a read that is known was written again: version %d, %v", again.Version, err)
	}
}

// BenchmarkNote is what a read under a token pays for being noted.
func BenchmarkNote(b *testing.B) {
	w := newWorld(b)
	b.ResetTimer()
	b.RunParallel(func(p *testing.PB) {
		for p.Next() {
			w.reads.Note("tok", hubNut, 1)
		}
	})
}

// A flood of prints by nobody pushes nobody who is known off the list, and what a full
// list leaves out is counted.
func TestReachOfMany(t *testing.T) {
	w := newWorld(t)
	day := w.now()
	records := map[specdata.Name]int64{hubNut: 1}
	note := func(code, by string, at time.Time) {
		t.Helper()
		if err := w.desk.NotePrint(t.Context(), desk.Print{Code: code, Procedure: hubJob, Records: records, By: by, Printed: at}); err != nil {
			t.Fatal(tell(err))
		}
	}
	note("SHOP-1", "piet", day)
	for i := range 1200 {
		note(fmt.Sprintf("ANON-%d", i), "", day.Add(time.Duration(i)*time.Second))
	}
	c := w.propose(maud, torque(hubNut, 1, 230, 170))
	r, _, err := w.desk.Reach(t.Context(), c.ID, ask.Page{})
	if err != nil || len(r.Sheets) != 1000 || r.Sheets[0].By != "piet" || r.LeftOut.Sheets != 201 {
		t.Fatalf("reach: %d sheets, the first by %q, left out %+v, %v", len(r.Sheets), r.Sheets[0].By, r.LeftOut, err)
	}
	for i := range 1050 {
		note(fmt.Sprintf("MORE-%d", i), "runa", day.Add(time.Duration(i)*time.Second))
	}
	if r, _, err = w.desk.Reach(t.Context(), c.ID, ask.Page{}); err != nil || len(r.Sheets) != 1000 || r.Sheets[999].By != "runa" || r.LeftOut.Sheets != 1251 {
		t.Errorf("reach: %d sheets and %d left out, %v; want 1000 by people who are known and 1251", len(r.Sheets), r.LeftOut.Sheets, err)
	}
	// The pages together hold every print once, before and after it is published.
	pages := func(size int32) {
		t.Helper()
		codes := map[string]bool{}
		for page := (ask.Page{Size: size}); ; {
			r, next, err := w.desk.Reach(t.Context(), c.ID, page)
			if err != nil {
				t.Fatal(tell(err))
			}
			for _, s := range r.Sheets {
				if codes[s.Code] {
					t.Errorf("sheet %s is on two pages", s.Code)
				}
				codes[s.Code] = true
			}
			if page.Token = next; next == "" {
				break
			}
			if r.LeftOut.Sheets == 0 {
				t.Error("a page that is not the last leaves nothing out")
			}
		}
		if len(codes) != 2251 {
			t.Errorf("pages of %d hold %d sheets, want 2251", size, len(codes))
		}
	}
	pages(0)
	pages(700)
	c = w.publish(rhea, w.approve(rhea, c))
	if len(c.Reach.Sheets) != 1000 || c.Reach.LeftOut.Sheets != 1251 {
		t.Errorf("kept are %d sheets, %d left out", len(c.Reach.Sheets), c.Reach.LeftOut.Sheets)
	}
	pages(0)
	if _, _, err := w.desk.Reach(t.Context(), c.ID, ask.Page{Token: "AAAA"}); err == nil {
		t.Error("a token that was never given is taken")
	}
}
