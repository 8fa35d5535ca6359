package job

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
	"proofload/specdata/demo"
)

// bench is a workshop: a store with the demo library, and a clock that the test sets.
type bench struct {
	*Jobs
	store store.Store
	file  string
	now   time.Time
	asked int
}

func workshop(t *testing.T) *bench {
	t.Helper()
	b := &bench{file: filepath.Join(t.TempDir(), "jobs.db"), now: time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)}
	b.reopen(t)
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	p := store.Publication{Authors: []string{"a"}, Reviewer: "b", Reason: "demo", Time: b.now}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			p.Changes = append(p.Changes, store.Change{Name: e.Name(), Document: e.Canonical})
		}
	}
	if _, err := b.store.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *bench) reopen(t *testing.T) {
	t.Helper()
	if b.store != nil {
		if err := b.store.Close(); err != nil {
			t.Fatal(err)
		}
	}
	s, err := sqlite.Open(t.Context(), b.file, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	c, err := catalog.New(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	b.store, b.Jobs = s, New(c, func() time.Time { return b.now })
}

func (b *bench) open(t *testing.T) *State {
	t.Helper()
	s, err := b.Open(t.Context(), Opening{
		Moment:    ask.Newest(),
		Procedure: "procedures/quill-1-rear-hub-bearing", Vehicle: "quill-1", Options: []string{"rear_brake=disc"}, Built: "2018-W10", Side: "left",
		Plate: "QL 18 ABC", VIN: "0VCAB1246JV004711", Odometer: "81 200 km", Order: "A-100", By: "Maud Ibbot", Request: "open-1",
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// do records one event and demands that it is taken.
func (b *bench) do(t *testing.T, id, by string, r Record) *State {
	t.Helper()
	s, a := b.try(t, id, by, r)
	if a.Refused != nil {
		t.Fatalf("%s of step %d is refused: %s", r.Kind, r.Step, a.Refused.Message)
	}
	return s
}

func (b *bench) try(t *testing.T, id, by string, r Record) (*State, Answer) {
	t.Helper()
	if r.Request == "" {
		b.asked++
		r.Request = fmt.Sprintf("r-%d", b.asked)
	}
	s, answers, err := b.Record(t.Context(), id, by, []Record{r})
	if err != nil {
		t.Fatal(err)
	}
	return s, answers[0]
}

// refused records one event and demands that it is refused with these words.
func (b *bench) refused(t *testing.T, id string, r Record, says ...string) {
	t.Helper()
	_, a := b.try(t, id, "Maud Ibbot", r)
	if a.Refused == nil {
		t.Fatalf("%s of step %d is taken", r.Kind, r.Step)
	}
	for _, want := range says {
		if !strings.Contains(a.Refused.Message, want) {
			t.Errorf("%s is refused with %q, which does not say %q", r.Kind, a.Refused.Message, want)
		}
	}
}

// finish enters what a step has to show and ticks it.
func (b *bench) finish(t *testing.T, s *State, n int, by string) *State {
	t.Helper()
	st := s.step(n)
	for i := range st.Joints {
		for _, p := range st.Joints[i].Pieces {
			b.do(t, s.ID, by, Record{Kind: Reached, Step: n, Fastener: string(st.Joints[i].Fastener.Name()), Piece: p.Number, Clicked: true})
		}
	}
	for i := range st.Limits {
		q := st.Limits[i].Operation.High
		if q.IsZero() {
			q = st.Limits[i].Operation.Low
		}
		b.do(t, s.ID, by, Record{Kind: Measured, Step: n, Piece: i + 1, Value: q.String()})
	}
	return b.do(t, s.ID, by, Record{Kind: Ticked, Step: n})
}

func (s *State) named(id string) int {
	for _, st := range s.Steps {
		if st.Step.ID == id {
			return st.Number
		}
	}
	return 0
}

// A whole job: a tick that the state forbids, a stop and a hand-over, a value outside
// its band, a restart in the middle, the closing, the erasing, the proof.
func TestWholeJob(t *testing.T) {
	b := workshop(t)
	s := b.open(t)
	if s.Stands() != "open" || s.Next != 1 || len(s.Open) != 0 || s.Plate != "QL 18 ABC" {
		t.Fatalf("a new job is %s, next %d, %d open, plate %q", s.Stands(), s.Next, len(s.Open), s.Plate)
	}
	if again := b.open(t); again.ID != s.ID || len(again.Events) != 1 {
		t.Errorf("the same request opened job %s beside %s", again.ID, s.ID)
	}
	id := s.ID
	b.refused(t, id, Record{Kind: Wrench, Wrench: "W-7", Until: "2026-11-30"}, "W-7", "2026-11-30", "another wrench")
	b.do(t, id, "Maud Ibbot", Record{Kind: Wrench, Wrench: "W-8", Until: "2027-03-01"})
	b.refused(t, id, Record{Kind: Ticked, Step: s.named("hub-off")}, "cannot be done now")
	b.refused(t, id, Record{Kind: Ticked, Step: 99}, "1 to")
	b.refused(t, id, Record{Kind: "tick", Step: 1}, "ticked")
	b.refused(t, id, Record{Kind: Closed}, "steps that are neither ticked nor skipped")
	half := s.named("hub-nut-start")
	for n := 1; n <= half; n++ {
		s = b.finish(t, s, n, "Maud Ibbot")
	}
	if tag := s.Tag(); !tag.Unfit || len(tag.Open) < 5 || !strings.Contains(tag.Next, "Tighten the collar nut") {
		t.Errorf("tag is %+v", tag)
	}
	b.refused(t, id, Record{Kind: Ticked, Step: 1}, "ticked by Maud Ibbot")

	s = b.do(t, id, "Maud Ibbot", Record{Kind: Stopped, Text: "end of shift"})
	b.refused(t, id, Record{Kind: Ticked, Step: half + 1}, "stopped by Maud Ibbot")
	b.refused(t, id, Record{Kind: TakenOver, Confirmed: []string{s.Open[0].ID}}, "not confirmed")
	b.reopen(t)
	var all []string
	for _, o := range s.Open {
		all = append(all, o.ID)
	}
	s = b.do(t, id, "Piet Oram", Record{Kind: TakenOver, Confirmed: all})
	if s.Stands() != "open" {
		t.Errorf("job is %s after it was taken over", s.Stands())
	}

	n := s.named("hub-nut-tighten")
	nut := string(s.step(n).Joints[0].Fastener.Name())
	b.refused(t, id, Record{Kind: Ticked, Step: n}, "0 of 1")
	b.refused(t, id, Record{Kind: Reached, Step: n, Fastener: nut, Piece: 1, Value: "240 N"}, "neither a torque")
	b.refused(t, id, Record{Kind: Reached, Step: n, Fastener: nut, Piece: 2, Clicked: true}, "piece 2")
	s = b.do(t, id, "Piet Oram", Record{Kind: Reached, Step: n, Fastener: nut, Piece: 1, Value: "290 N.m"})
	outside := s.Open[len(s.Open)-1]
	if !strings.Contains(outside.Text, "290 N.m") || !strings.Contains(outside.Text, "216 to 264") {
		t.Errorf("a value outside its band is open as %q", outside.Text)
	}
	s = b.do(t, id, "Piet Oram", Record{Kind: Reached, Step: n, Fastener: nut, Piece: 1, Value: "240 N.m"})
	if !slices.ContainsFunc(s.Open, func(o Thing) bool { return o.ID == outside.ID }) {
		t.Error("a value above its band is gone after a right one was entered")
	}
	b.do(t, id, "Piet Oram", Record{Kind: Answered, Thing: outside.ID, NewPiece: "collar nut from the parts counter"})
	s = b.do(t, id, "Piet Oram", Record{Kind: Reached, Step: n, Fastener: nut, Piece: 1, Value: "240 N.m"})
	if slices.ContainsFunc(s.Open, func(o Thing) bool { return strings.HasPrefix(o.ID, "value/") || strings.HasPrefix(o.ID, "new/") }) {
		t.Errorf("after a new piece reached its value %+v is open", s.Open)
	}
	s = b.do(t, id, "Piet Oram", Record{Kind: Ticked, Step: n})
	check := s.named("hub-check")
	for k := n + 1; k < check; k++ {
		s = b.finish(t, s, k, "Piet Oram")
	}
	s = b.do(t, id, "Piet Oram", Record{Kind: Measured, Step: check, Piece: 1, Value: "0.20 mm"})
	play := s.Open[len(s.Open)-1].ID
	if !strings.HasPrefix(play, "limit/") {
		t.Errorf("a play over its limit leaves %+v open", s.Open)
	}
	b.do(t, id, "Piet Oram", Record{Kind: Answered, Thing: play, Text: "measured again, the needle had slipped"})
	s = b.do(t, id, "Piet Oram", Record{Kind: Ticked, Step: check})

	// The wheel nuts while the end is up: forbidden, and with a reason it stays visible.
	lower, tighten := s.named("lower-rear"), s.named("wheel-tighten")
	for k := check + 1; k < lower; k++ {
		s = b.finish(t, s, k, "Piet Oram")
	}
	for _, p := range s.step(tighten).Joints[0].Pieces {
		b.do(t, id, "Piet Oram", Record{Kind: Reached, Step: tighten, Fastener: string(s.step(tighten).Joints[0].Fastener.Name()), Piece: p.Number, Clicked: true})
	}
	b.refused(t, id, Record{Kind: Ticked, Step: tighten}, "wheel nut")
	for k := lower; k <= len(s.Steps); k++ {
		if s.step(k).Ticked == nil {
			if k == tighten {
				s = b.do(t, id, "Piet Oram", Record{Kind: Ticked, Step: k})
				continue
			}
			s = b.finish(t, s, k, "Piet Oram")
		}
	}
	if len(s.Open) != 0 || s.Next != 0 {
		t.Fatalf("after every step %+v is open, next is %d", s.Open, s.Next)
	}
	s = b.do(t, id, "Piet Oram", Record{Kind: Closed})
	if s.Stands() != "closed" || len(s.FollowUps) == 0 || s.FollowUps[0].Due.IsZero() {
		t.Errorf("job is %s with follow-ups %+v", s.Stands(), s.FollowUps)
	}
	calendar := string(s.Calendar(b.now))
	for _, want := range []string{"BEGIN:VCALENDAR\r\n", "UID:" + id + "-owed-1@proofload\r\n", "DTSTART;VALUE=DATE:20261215\r\n", "END:VCALENDAR\r\n"} {
		if !strings.Contains(calendar, want) {
			t.Errorf("calendar has no %q:\n%s", want, calendar)
		}
	}
	for _, line := range strings.Split(calendar, "\r\n") {
		if len(line) > 75 {
			t.Errorf("calendar line has %d octets: %s", len(line), line)
		}
	}
	b.refused(t, id, Record{Kind: Ticked, Step: 1}, "closed by Piet Oram")

	before, err := b.Export(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if err := before.Verify(); err != nil {
		t.Error(err)
	}
	for _, what := range []string{"people", "vehicle"} {
		if s, err = b.Erase(t.Context(), id, "Una Birk", what); err != nil {
			t.Fatal(err)
		}
	}
	if s.Plate != Gone || s.VIN != Gone || s.Events[0].Person != Gone {
		t.Errorf("after erasing, plate is %q, opened by %q", s.Plate, s.Events[0].Person)
	}
	after, err := b.Export(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if err := after.Verify(); err != nil {
		t.Error(err)
	}
	if !slices.Equal(after.Leaves[:len(before.Leaves)], before.Leaves) {
		t.Error("erasing changed the events")
	}
	notes, err := b.store.ListNotes(t.Context(), store.NoteQuery{Space: spaceEvents, Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range notes {
		for _, secret := range []string{"QL 18", "0VCAB", "Maud", "Piet", "81 200"} {
			if bytes.Contains(n.Body, []byte(secret)) {
				t.Errorf("event %s holds %q in plain", n.Key, secret)
			}
		}
	}
	after.Leaves[3] = strings.Replace(after.Leaves[3], `"step":`, `"step":1`, 1)
	if after.Verify() == nil {
		t.Error("a forged event passes")
	}
}

// The door asks for what decides, and refuses another vehicle.
func TestDoor(t *testing.T) {
	b := workshop(t)
	for _, c := range []struct {
		o    Opening
		says string
	}{
		{Opening{Vehicle: "quill-1", Side: "left"}, "rear brake"},
		{Opening{Vehicle: "quill-1", Side: "left", Options: []string{"rear_brake=disc"}}, "built"},
		{Opening{Vehicle: "quill-1", Side: "left", Options: []string{"rear_brake=drum"}, Built: "2018-W10"}, "not for this vehicle"},
		{Opening{Vehicle: "quill-1", Side: "left", Options: []string{"rear_brake=disc"}, Built: "2021-W10"}, "not for this vehicle"},
		{Opening{Vehicle: "quill-1", Options: []string{"rear_brake=disc"}, Built: "2018-W10"}, "left or right"},
		{Opening{Vehicle: "quill-1", Side: "left", Options: []string{"colour=red"}, Built: "2018-W10"}, "colour"},
		{Opening{Vehicle: "pell-1", Side: "left", Built: "2018-W10"}, "not for this vehicle"},
	} {
		c.o.Moment, c.o.Procedure, c.o.By = ask.Newest(), "procedures/quill-1-rear-hub-bearing", "Maud Ibbot"
		_, err := b.Open(t.Context(), c.o)
		if e := fault.From(err); err == nil || e.Kind != fault.InvalidArgument || !strings.Contains(strings.ToLower(e.Message), c.says) {
			t.Errorf("%+v: %v, want %q", c.o, err, c.says)
		}
	}
	if spaces, err := b.store.NoteSpaces(t.Context()); err != nil || slices.ContainsFunc(spaces, func(s string) bool { return strings.HasPrefix(s, "job") }) {
		t.Errorf("refused openings wrote %v %v", spaces, err)
	}
}

// Two devices record at once, each sending everything twice: nothing is lost, nothing
// is doubled, the numbers have no gap.
func TestTwoDevices(t *testing.T) {
	b := workshop(t)
	s := b.open(t)
	var wait sync.WaitGroup
	for d := range 2 {
		wait.Add(1)
		go func() {
			defer wait.Done()
			var records []Record
			for i := range 12 {
				records = append(records, Record{Request: fmt.Sprintf("d%d-%d", d, i), Kind: Noted, Text: fmt.Sprintf("note %d of %d", i, d)})
			}
			for range 2 {
				if _, _, err := b.Record(context.Background(), s.ID, "Maud Ibbot", records); err != nil {
					t.Error(err)
				}
			}
		}()
	}
	wait.Wait()
	s, err := b.Get(t.Context(), s.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Events) != 25 {
		t.Errorf("job has %d events, want its opening and 24 notes", len(s.Events))
	}
	at := [2]int{}
	for i, e := range s.Events {
		if e.Number != int64(i)+1 {
			t.Errorf("event %d has the number %d", i+1, e.Number)
		}
		var n, d int
		if k, _ := fmt.Sscanf(e.Words, "note %d of %d", &n, &d); k == 2 {
			if n != at[d] {
				t.Errorf("note %d of device %d comes when %d is due", n, d, at[d])
			}
			at[d]++
		}
	}
	if _, a := b.try(t, s.ID, "Maud Ibbot", Record{Request: "d0-1", Kind: Noted, Step: 2, Text: "other"}); a.Refused == nil || a.Refused.Kind != fault.RequestIDReused {
		t.Errorf("a request id taken for another event: %+v", a)
	}
}

// A number moves: jobs made to the old value are found, with how far and which way.
func TestMoved(t *testing.T) {
	b := workshop(t)
	s := b.open(t)
	for n := 1; n <= s.named("hub-nut-tighten"); n++ {
		s = b.finish(t, s, n, "Maud Ibbot")
	}
	if moved, _, err := b.Moved(t.Context(), "", 100, ""); err != nil || len(moved) != 0 {
		t.Fatalf("%v %v before anything moved", moved, err)
	}
	name := specdata.Name("fasteners/quill-1-rear-hub-nut")
	rev, err := b.store.GetRevision(t.Context(), name, 1)
	if err != nil {
		t.Fatal(err)
	}
	doc := bytes.Replace(rev.Document, []byte(`"torque":"240 N.m"`), []byte(`"torque":"264 N.m"`), 1)
	if _, err := b.store.Publish(t.Context(), store.Publication{Changes: []store.Change{{Name: name, Base: 1, Document: doc}}, Authors: []string{"a"}, Reviewer: "b", Reason: "read again", Time: b.now}); err != nil {
		t.Fatal(err)
	}
	for record, want := range map[string]int{"": 1, string(name): 1, "fasteners/quill-1-wheel-nut": 0, "procedures/quill-1-rear-hub-bearing": 1} {
		moved, _, err := b.Moved(t.Context(), record, 100, "")
		if err != nil || len(moved) != want {
			t.Fatalf("%q: %v %v, want %d", record, moved, err, want)
		}
		if want == 1 && (moved[0].Job != s.ID || moved[0].How() != "too loose: 9.1 % under the value now" || moved[0].Pieces != 1 || moved[0].Safety == "") {
			t.Errorf("moved is %+v, %s", moved[0], moved[0].How())
		}
	}
	b.do(t, s.ID, "Una Birk", Record{Kind: FollowedUp, Thing: "moved/" + string(name), Text: "driver told by telephone"})
	if moved, _, _ := b.Moved(t.Context(), "", 100, ""); len(moved[0].Answers) != 1 || moved[0].Answers[0].Words != "driver told by telephone" {
		t.Errorf("what was done about it is %+v", moved[0].Answers)
	}
}
