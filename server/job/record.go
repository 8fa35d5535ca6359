package job

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/dryrun"
)

// Record is one event that somebody asks to record.
type Record struct {
	Request   string
	Kind      Kind
	Done      time.Time
	Step      int
	Fastener  string
	Piece     int
	Value     string
	Clicked   bool
	Wrench    string
	Until     string
	Photo     string
	Thing     string
	Confirmed []string
	// Text is a note or a reason; a reason overrides what the state forbids.
	Text string
	// NewPiece names the new piece that was fitted, with an answer or the value it reached.
	NewPiece string
}

// Answer is what became of a record: the event, or why it was refused.
type Answer struct {
	Event   *Event
	Refused *fault.Error
}

// tries is how often a write is tried again that another device overtook.
const tries = 20

// Record records events in order. Each is durable before the next is looked at, and is
// judged on the state that the ones before it left; one that is refused is not kept and
// stops none behind it. A request id that was used before returns the event of the
// first time.
func (j *Jobs) Record(ctx context.Context, id, by string, records []Record) (*State, []Answer, error) {
	if len(records) == 0 || len(records) > MaxBatch {
		return nil, nil, fault.Field("events", "events are %d; allowed: 1 to %d in a request", len(records), MaxBatch)
	}
	answers := make([]Answer, 0, len(records))
	s, version, err := j.read(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	for i := range records {
		for try := 0; ; try++ {
			e, w, err := s.judge(&records[i], by, j.now())
			if err == nil && w != nil {
				if err = j.write(ctx, w, s.with(e), e, version); errors.Is(err, store.ErrConflict) && try < tries {
					if s, version, err = j.read(ctx, id); err != nil {
						return nil, nil, err
					}
					continue
				}
			}
			var refused *fault.Error
			switch {
			case errors.As(err, &refused):
				answers = append(answers, Answer{Refused: refused})
			case err != nil:
				return nil, nil, err
			default:
				answers = append(answers, Answer{Event: e})
				if w != nil {
					if s, version, err = j.read(ctx, id); err != nil {
						return nil, nil, err
					}
				}
			}
			break
		}
	}
	return s, answers, nil
}

// with is the state after one more event, as far as the head needs it: whether it is
// open, stopped or closed.
func (s *State) with(e *Event) *State {
	next := *s
	switch e.Kind {
	case Stopped, TakenOver, Closed, Reopened:
		next.apply(e)
	}
	return &next
}

var photoForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// judge decides whether an event may be recorded and makes it. The writing is nil
// where the request was answered before.
func (s *State) judge(r *Record, by string, now time.Time) (*Event, *writing, error) {
	if r.Request == "" || len(r.Request) > maxWord {
		return nil, nil, fault.Field("request_id", "request_id has %d bytes; give each event its own id of 1 to %d bytes", len(r.Request), maxWord)
	}
	if old := s.byID[r.Request]; old != nil {
		if old.Kind != r.Kind || old.Step != r.Step || old.Fastener != r.Fastener || old.Piece != r.Piece || old.Value != r.Value || old.Thing != r.Thing || (old.NewPiece.Key != "") != (r.NewPiece != "") {
			return nil, nil, fault.New(fault.RequestIDReused, "request_id %s was used for event %d of this job, which is another; give every event its own id", specdata.Shorten(r.Request), old.Number).With("event", fmt.Sprint(old.Number))
		}
		return old, nil, nil
	}
	if err := s.well(r, now); err != nil {
		return nil, nil, err
	}
	forbids := s.forbids(r, now)
	if forbids != nil && (r.Text == "" || forbids.Kind == fault.InvalidArgument) {
		return nil, nil, forbids
	}
	e := &Event{
		Number: int64(len(s.Events)) + 1, Job: s.ID, Request: r.Request, Kind: r.Kind, Time: now, Done: r.Done.UTC(), Step: r.Step, Fastener: r.Fastener, Piece: r.Piece,
		Value: r.Value, Clicked: r.Clicked, Wrench: r.Wrench, Until: r.Until, Photo: r.Photo, Thing: r.Thing, Confirmed: r.Confirmed, Person: by, Words: r.Text, Fitted: r.NewPiece,
	}
	if r.Done.IsZero() {
		e.Done = time.Time{}
	}
	if forbids != nil {
		e.Override, e.Forbade = true, forbids.Message
	}
	w := &writing{job: s.ID, time: now}
	e.By, e.Text, e.NewPiece = w.seal("people", by), w.seal("text", r.Text), w.seal("text", r.NewPiece)
	return e, w, nil
}

// lateClock is how much the clock of a device may be behind that of the server.
const lateClock = 10 * time.Minute

// well checks the form of a record, which nothing overrides.
func (s *State) well(r *Record, now time.Time) error {
	if !slices.Contains(Kinds, r.Kind) {
		names := make([]string, len(Kinds))
		for i, k := range Kinds {
			names[i] = string(k)
		}
		return fault.Field("kind", "kind %q is no event that people record; allowed: %s%s", specdata.Shorten(string(r.Kind)), strings.Join(names, ", "), specdata.DidYouMean(string(r.Kind), slices.Values(names)))
	}
	if err := checkTexts(map[string]string{"text": r.Text}, maxText); err != nil {
		return err
	}
	if err := checkTexts(map[string]string{"fastener": r.Fastener, "value": r.Value, "wrench": r.Wrench, "calibrated_until": r.Until, "thing": r.Thing, "new_piece": r.NewPiece}, maxWord); err != nil {
		return err
	}
	if len(s.Events) >= MaxEvents {
		return fault.New(fault.LimitSize, "job has %d events; allowed: %d; close it and open another", len(s.Events), MaxEvents)
	}
	if !r.Done.IsZero() && (r.Done.Year() < 2000 || r.Done.After(now.Add(24*time.Hour))) {
		return fault.Field("done_time", "done_time %s is not when this was done; set the clock of the device, or leave it out", r.Done.UTC().Format(time.RFC3339))
	}
	if !r.Done.IsZero() && len(s.Events) > 0 && r.Done.Before(s.Events[0].Time.Add(-lateClock)) {
		return fault.Field("done_time", "done_time %s is before the job was opened at %s; set the clock of the device, or leave it out", r.Done.UTC().Format(time.RFC3339), s.Events[0].Time.UTC().Format(time.RFC3339))
	}
	switch r.Kind {
	case Ticked, Skipped, Undone, Reached, Measured:
		if s.step(r.Step) == nil {
			return fault.Field("step", "step %d is not of this job; allowed: 1 to %d", r.Step, len(s.Steps))
		}
	}
	if r.NewPiece != "" {
		switch r.Kind {
		case Answered, Reached, Measured:
		default:
			return fault.Field("new_piece", "new_piece does not belong to %s; name it with the answer or with the value that the new piece reached", r.Kind)
		}
		if strings.TrimSpace(r.NewPiece) == "" {
			return fault.Field("new_piece", "new_piece is blank; write what was fitted, like \"M10 x 30, from the parts counter\"")
		}
	}
	switch r.Kind {
	case Skipped, Noted:
		if strings.TrimSpace(r.Text) == "" {
			return fault.Field("text", "%s needs a text that says why", r.Kind)
		}
	case Answered:
		if strings.TrimSpace(r.Text) == "" && r.NewPiece == "" {
			return fault.Field("text", "%s needs a text that says why, or the new piece that was fitted", r.Kind)
		}
	case Wrench:
		if strings.TrimSpace(r.Wrench) == "" {
			return fault.Field("wrench", "wrench has no number; write what stands on it")
		}
		if _, err := specdata.Date(r.Until).Time(); err != nil {
			return fault.Field("calibrated_until", "calibrated_until: %v", err)
		}
	case Photo:
		if !photoForm.MatchString(r.Photo) {
			return fault.Field("photo_hash", "photo_hash is not a SHA-256 in 64 lower-case hex digits")
		}
	case Reached:
		return s.wellReached(r)
	case Measured:
		st := s.step(r.Step)
		if r.Piece < 1 || r.Piece > len(st.Limits) {
			return fault.Field("piece", "piece %d is no measurement of step %d; it has %d", r.Piece, r.Step, len(st.Limits))
		}
		o := st.Limits[r.Piece-1].Operation
		want := o.Low
		if want.IsZero() {
			want = o.High
		}
		q, err := specdata.ParseQuantity(r.Value)
		if err != nil {
			return fault.Field("value", "value: %v", err)
		}
		if q.Dimension() != want.Dimension() {
			return fault.Field("value", "value %s is not of the kind of the limit, %s; give it in %s", r.Value, st.Limits[r.Piece-1].Text, want.Unit().Symbol)
		}
	}
	return nil
}

func (s *State) wellReached(r *Record) error {
	st := s.step(r.Step)
	joint := st.joint(r.Fastener)
	if joint == nil {
		var names []string
		for i := range st.Joints {
			names = append(names, string(st.Joints[i].Fastener.Name()))
		}
		if len(names) == 0 {
			names = []string{"none; it brings no fastener to a value"}
		}
		return fault.Field("fastener", "fastener %q is not tightened in step %d; allowed: %s", r.Fastener, r.Step, strings.Join(names, ", "))
	}
	if joint.piece(r.Piece) == nil {
		return fault.Field("piece", "piece %d is not one of the %d of %s", r.Piece, len(joint.Pieces), joint.Fastener.Title)
	}
	if r.Clicked == (r.Value != "") {
		return fault.Field("value", "value and clicked are given both or neither; give the torque that was reached, or that the wrench clicked")
	}
	if r.Value == "" {
		return nil
	}
	q, err := specdata.ParseQuantity(r.Value)
	if err != nil {
		return fault.Field("value", "value: %v", err)
	}
	if q.Dimension() != specdata.Torque && q.Dimension() != specdata.Angle {
		return fault.Field("value", "value %s is neither a torque nor an angle; write it like \"240 N.m\"", r.Value)
	}
	return nil
}

// forbids says why the state does not allow an event, nil where it does. A reason
// overrides it, but for InvalidArgument.
func (s *State) forbids(r *Record, now time.Time) *fault.Error {
	refuse := func(format string, args ...any) *fault.Error {
		return fault.New(fault.StepRefused, format, args...).With("job", s.ID)
	}
	never := func(format string, args ...any) *fault.Error { return fault.Field("kind", format, args...) }
	if s.Close != nil && r.Kind != Reopened && r.Kind != FollowedUp && r.Kind != Noted {
		return never("job was closed by %s; reopen it first", s.Close.Person)
	}
	if s.Stop != nil {
		switch r.Kind {
		case TakenOver, Noted, Photo, Reopened, FollowedUp:
		default:
			return never("job was stopped by %s; whoever goes on takes it over and confirms what is open first", s.Stop.Person)
		}
	}
	st := s.step(r.Step)
	switch r.Kind {
	case Ticked:
		if st.Ticked != nil {
			return never("step %d was ticked by %s at %s already; undo it where it has to be done again", r.Step, st.Ticked.Person, st.Ticked.Time.Format("15:04"))
		}
		return s.forbidsTick(st, refuse)
	case Skipped:
		if st.Ticked != nil {
			return never("step %d was ticked by %s already", r.Step, st.Ticked.Person)
		}
	case Undone:
		if st.Ticked == nil && st.Skipped == nil {
			return never("step %d is not ticked; there is nothing to undo", r.Step)
		}
	case Wrench:
		if day := now.Format(time.DateOnly); r.Until < day {
			return refuse("wrench %s was calibrated until %s and today is %s; take another wrench", r.Wrench, r.Until, day)
		}
	case Answered:
		i := slices.IndexFunc(s.Open, func(t Thing) bool { return t.ID == r.Thing })
		switch {
		case i < 0:
			return never("%q is not open; allowed: %s", r.Thing, s.answerable())
		case !s.Open[i].Answerable():
			return never("%s is closed by doing it, not by an answer: %s", s.Open[i].Text, s.Open[i].Mend)
		case s.Open[i].Renew && r.NewPiece == "":
			return never("%s; a reason alone does not close it: %s (new_piece; on the command line --new-piece TEXT)", s.Open[i].Text, s.Open[i].Mend)
		}
	case TakenOver:
		if s.Stop == nil {
			return never("job is not stopped; there is nothing to take over")
		}
		for _, t := range s.Open {
			if !slices.Contains(r.Confirmed, t.ID) {
				return never("%q is not confirmed: %s; look at each open thing and confirm it", t.ID, t.Text)
			}
		}
	case FollowedUp:
		if !slices.ContainsFunc(s.FollowUps, func(f FollowUp) bool { return f.ID == r.Thing }) && !strings.HasPrefix(r.Thing, movedPrefix) {
			return never("%q is no follow-up of this job", r.Thing)
		}
	case Closed:
		if len(s.Open) > 0 {
			texts := make([]string, 0, len(s.Open))
			for _, t := range s.Open {
				texts = append(texts, t.Text)
			}
			return refuse("job has %d open: %s; close them, or say why it is closed all the same", len(s.Open), strings.Join(texts, "; "))
		}
		if n := s.Left(); n > 0 {
			return refuse("job has %d steps that are neither ticked nor skipped, from step %d; tick them, or say why it is closed all the same", n, s.Next)
		}
	case Reopened:
		if s.Close == nil {
			return never("job is not closed")
		}
	}
	return nil
}

// forbidsTick asks the dry run, and what the step has to show.
func (s *State) forbidsTick(st *Step, refuse func(string, ...any) *fault.Error) *fault.Error {
	for i := range st.Joints {
		j := &st.Joints[i]
		reached := 0
		for _, p := range j.Pieces {
			if p.Event != nil {
				reached++
			}
		}
		if reached < len(j.Pieces) {
			return refuse("step %d: %d of %d of %s are entered; enter the value reached, or that the wrench clicked, for each", st.Number, reached, len(j.Pieces), specdata.InSentence(j.Fastener.Title))
		}
	}
	for i := range st.Limits {
		if st.Limits[i].Event == nil {
			return refuse("step %d: the measured value is not entered; the limit is %s", st.Number, st.Limits[i].Text)
		}
	}
	order := append(slices.Clone(s.order), st.Number-1)
	done := dryrun.RunDone(s.library, s.Procedure, s.variant, order)
	if len(done.Refused) > 0 {
		p := &done.Refused[0]
		return refuse("step %d cannot be done now: %s is %s; needed: %s", st.Number, p.Title, p.Found, p.Need).With("step", fmt.Sprint(st.Number))
	}
	return nil
}

// Answerable reports whether an open thing is closed by an answer.
func (t Thing) Answerable() bool {
	return strings.HasPrefix(t.ID, "value/") || strings.HasPrefix(t.ID, "limit/") || strings.HasPrefix(t.ID, "wrench/")
}

func (s *State) answerable() string {
	var ids []string
	for _, t := range s.Open {
		if t.Answerable() {
			ids = append(ids, t.ID)
		}
	}
	if len(ids) == 0 {
		return "nothing, nothing of it waits for an answer"
	}
	return strings.Join(ids, ", ")
}

// Erase forgets the names of the people, the vehicle's plate, number and odometer, or
// the free texts of a job. The events and their proof stay whole; that something was
// erased is an event itself.
func (j *Jobs) Erase(ctx context.Context, id, by, what string) (*State, error) {
	if !slices.Contains([]string{"people", "vehicle", "text"}, what) {
		return nil, fault.Field("what", "what %q is not kept apart; allowed: people, vehicle, text", specdata.Shorten(what))
	}
	for range tries {
		s, version, err := j.read(ctx, id)
		if err != nil {
			return nil, err
		}
		kept, err := j.sealed(ctx, id)
		if err != nil {
			return nil, err
		}
		now := j.now()
		e := &Event{Number: int64(len(s.Events)) + 1, Job: id, Request: chance(), Kind: Erased, Time: now, Value: what}
		w := &writing{job: id, time: now}
		for key, a := range kept {
			if a.What == what {
				w.notes = append(w.notes, store.NoteWrite{Space: spaceApart, Key: id + "/" + key, Base: store.AnyVersion, Time: now})
			}
		}
		if what != "people" {
			e.By = w.seal("people", by)
		}
		err = j.write(ctx, w, s.with(e), e, version)
		if errors.Is(err, store.ErrConflict) {
			continue
		}
		if err != nil {
			return nil, err
		}
		return j.Get(ctx, id)
	}
	return nil, fault.New(fault.RecordMoved, "job %s is being worked on; try again", id)
}
