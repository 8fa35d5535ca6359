package desk_test

import (
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"proofload/server/ask"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/store"
)

// The same request under the same id is done once and answered the same, across a
// restart and whatever happened since; another request under it is refused.
func TestRequestIDs(t *testing.T) {
	w := newWorld(t)
	type sent struct {
		name   string
		repeat func() (*desk.Correction, error)
		answer string
		etag   int64
	}
	var all []sent
	send := func(name string, do func() (*desk.Correction, error)) *desk.Correction {
		t.Helper()
		c := w.ok(do())
		all = append(all, sent{name, do, encode(c), c.Version})
		return c
	}
	p := proposal(note(sumpPlug, 1, "New washer."))
	p.RequestID = "1"
	c := send("propose", func() (*desk.Correction, error) { return w.desk.Propose(w.Context(), maud, p, false) })
	for i, name := range []string{"amend", "recheck", "approve", "publish"} {
		for _, act := range acts {
			if act.name == name {
				seen, id := c, fmt.Sprint("id-", i)
				c = send(name, func() (*desk.Correction, error) { return act.do(w, seen, id) })
			}
		}
	}
	other := w.bring(desk.Open, sumpPlug)
	send("withdraw", func() (*desk.Correction, error) {
		return w.desk.Withdraw(w.Context(), maud, other.ID, other.Version, "misread", "9")
	})
	another := w.bring(desk.Open, sumpPlug)
	send("reject", func() (*desk.Correction, error) {
		return w.desk.Reject(w.Context(), rhea, another.ID, another.Content, "not this way, please", "9")
	})

	for _, restart := range []bool{false, true} {
		if restart {
			if err := w.store.Close(); err != nil {
				t.Fatal(err)
			}
			w.open()
		}
		before := w.stored()
		for _, s := range all {
			got := w.ok(s.repeat())
			if encode(got) != s.answer || got.Version != s.etag {
				t.Errorf("%s, restart %t: answered\n%s (version %d), first\n%s (version %d)", s.name, restart, encode(got), got.Version, s.answer, s.etag)
			}
		}
		if w.stored() != before {
			t.Errorf("restart %t: repeating changed something", restart)
		}
	}

	p.Reason += ", twice"
	got, err := w.desk.Propose(t.Context(), maud, p, false)
	w.refused(fault.RequestIDReused, got, err)
	got, err = w.desk.Recheck(t.Context(), maud, c.ID, "1")
	w.refused(fault.RequestIDReused, got, err)
	p.Changes[0] = note(unused, 1, "Another.")
	// Another person's ids are their own.
	if mine := w.ok(w.desk.Propose(t.Context(), orri, p, false)); mine.ID == c.ID {
		t.Error("orri was given maud's answer")
	}
}

// A request sent many times at once, to two servers, is done once.
func TestRequestSentAtOnce(t *testing.T) {
	w := newWorld(t)
	desks := []*desk.Desk{w.desk, w.another()}
	p := proposal(note(sumpPlug, 1, "New washer."))
	p.RequestID = "once"
	var mu sync.Mutex
	var answers []string
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			c, err := desks[i%2].Propose(w.Context(), maud, p, false)
			if err != nil {
				t.Error(tell(err))
				return
			}
			mu.Lock()
			defer mu.Unlock()
			answers = append(answers, fmt.Sprint(c.Version, encode(c)))
		})
	}
	wg.Wait()
	slices.Sort(answers)
	if len(slices.Compact(answers)) != 1 {
		t.Errorf("%d different answers", len(answers))
	}
	cs, _, err := w.desk.List(t.Context(), "", "", ask.Page{})
	if err != nil || len(cs) != 1 {
		t.Errorf("%d corrections, %v", len(cs), err)
	}
}

// Answers are kept for a day and more, and gone some time later.
func TestOldAnswersAreSwept(t *testing.T) {
	w := newWorld(t)
	count := func() int {
		ns, err := w.store.ListNotes(t.Context(), store.NoteQuery{Space: "answers", Limit: store.MaxLimit})
		if err != nil {
			t.Fatal(err)
		}
		return len(ns)
	}
	c := w.bring(desk.Open, sumpPlug)
	for i := range 48 {
		w.ok(w.desk.Recheck(t.Context(), maud, c.ID, fmt.Sprint("old-", i)))
	}
	w.clock.Add(int64(25 * time.Hour / time.Second))
	for i := range 16 {
		w.ok(w.desk.Recheck(t.Context(), maud, c.ID, fmt.Sprint("day-", i)))
	}
	if n := count(); n != 64 {
		t.Errorf("%d answers after a day, want all 64", n)
	}
	w.clock.Add(int64(47 * time.Hour / time.Second))
	for i := range 48 {
		w.ok(w.desk.Recheck(t.Context(), maud, c.ID, fmt.Sprint("new-", i)))
	}
	if n := count(); n != 64 {
		t.Errorf("%d answers after three days, want the 64 of the last two", n)
	}
}
