package job

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

// State is how a job stands: a pure function of its events and of the library at its
// position.
type State struct {
	ID        string
	Start     Start
	Procedure *specdata.Procedure
	Whom      whom.For
	// Plate, VIN and Odometer are "" where nobody gave them, Gone where erased.
	Plate, VIN, Odometer string
	Events               []*Event
	Steps                []*Step
	// Open are the things that are off, loose or open, in the order they were opened.
	Open []Thing
	// Around says how the vehicle stands, "" as it came.
	Around string
	// Next is the number of the next step, 0 where every one is done or skipped.
	Next     int
	Wrenches []*Event
	// Stop is the stop that nobody has taken over, nil without one; Close is the
	// closing that nobody reopened.
	Stop, Close *Event
	FollowUps   []FollowUp
	// Off are the values outside their band or limit, open or answered, as they were entered.
	Off []*Off

	variant dryrun.Variant
	library library.Library
	order   []int // what was ticked, as moments, in order
	byID    map[string]*Event
}

// Step is one step of the job: a moment of the procedure, repeats unrolled.
type Step struct {
	Number  int
	Step    *specdata.Step
	Side    string
	Reading string
	// Ticked and Skipped are the events that say so.
	Ticked, Skipped *Event
	Joints          []Joint
	Limits          []Limit
}

// Joint is a fastener that a step brings to a value, with what was reached.
type Joint struct {
	Fastener *specdata.Fastener
	Stages   []int
	// Value and Accept are the value and its band in words, StageText which stage.
	Value, Accept, StageText string
	Pieces                   []Piece
}

// Piece is one piece of a fastener. Event is nil until something was reached.
type Piece struct {
	Number int
	Event  *Event
	// Outside says that the reached value is outside the band.
	Outside bool
	// Was are the values that were entered before, in order.
	Was []*Event
}

// replace sets another value, or none, and keeps the one before.
func (p *Piece) replace(e *Event) {
	if p.Event != nil {
		p.Was = append(p.Was, p.Event)
	}
	p.Event, p.Outside = e, false
}

// Limit is something a step measures.
type Limit struct {
	Number    int
	Operation *specdata.Operation
	Text      string
	Event     *Event
	Outside   bool
	// Was are the values that were measured before, in order.
	Was []*Event
}

// replace sets another value, or none, and keeps the one before.
func (l *Limit) replace(e *Event) {
	if l.Event != nil {
		l.Was = append(l.Was, l.Event)
	}
	l.Event, l.Outside = e, false
}

// Thing is an open thing. ID is stable as long as it is open.
type Thing struct {
	ID, Text, Mend string
	// FollowUp says that it is a check owed: it does not keep the vehicle from the road.
	FollowUp bool
	// Renew says that an answer has to name a new piece.
	Renew bool
}

// FollowUp is what is due after the job.
type FollowUp struct {
	ID, Text string
	// Due is the day it is due, zero until the job is closed; Guessed says that it is due
	// after a distance, which was turned into a day.
	Due     time.Time
	Guessed bool
	after   time.Duration
	Done    *Event
}

// fold works the state out. The error says that the library no longer has what the
// job was born from.
func fold(id string, events []*Event, l library.Library) (*State, error) {
	if len(events) == 0 || events[0].Open == nil {
		return nil, fmt.Errorf("job %s does not begin with its opening", id)
	}
	s := &State{ID: id, Start: *events[0].Open, Events: events, library: l, byID: map[string]*Event{}}
	e := l.Get(specdata.Name(s.Start.Procedure))
	if e == nil {
		return nil, fmt.Errorf("job %s: %s is not in the library at position %d", id, s.Start.Procedure, s.Start.Position)
	}
	s.Procedure = claim.Complete(e.Record.(*specdata.Procedure), l)
	s.variant = dryrun.Variant{Vehicle: s.Start.Vehicle}
	options := map[string]string{}
	for _, o := range s.Start.Options {
		key, value, _ := strings.Cut(o, "=")
		options[key] = value
	}
	for _, v := range dryrun.Variants(l, s.Procedure) {
		if v.Vehicle == s.Start.Vehicle && !slices.ContainsFunc(v.Options, func(o dryrun.Option) bool { return options[o.Key] != o.Value }) {
			s.variant = v
		}
	}
	s.Whom = whom.OfProcedure(l, s.Procedure).Variant(s.Start.Vehicle, options)
	if s.Start.Side != "" {
		s.Whom = s.Whom.OnSide(s.Start.Side)
	}
	s.lay()
	for _, e := range events {
		s.byID[e.Request] = e
		s.apply(e)
	}
	s.settle()
	return s, nil
}

// lay lists the steps.
func (s *State) lay() {
	whole := dryrun.RunVariant(s.library, s.Procedure, s.variant)
	fastener := func(id string) *specdata.Fastener { return library.Fastener(s.library, id) }
	for i := range whole.Timeline {
		m := &whole.Timeline[i]
		step := &Step{Number: i + 1, Step: m.Step, Reading: wording.Sentence(s.Procedure, m.Step, fastener)}
		switch m.Side {
		case specdata.SideLeft, specdata.SideRight:
			step.Side = string(m.Side)
		default:
			step.Side = s.Start.Side
		}
		for j := range m.Step.Operations {
			o := &m.Step.Operations[j]
			if !o.Low.IsZero() || !o.High.IsZero() {
				step.Limits = append(step.Limits, Limit{Number: len(step.Limits) + 1, Operation: o, Text: wording.Limit(o)})
			}
		}
		s.Steps = append(s.Steps, step)
	}
	for i := range whole.Torques {
		u := &whole.Torques[i]
		if u.Moment < 0 || u.Moment >= len(s.Steps) || u.Fastener.Tightening == nil {
			continue
		}
		t := u.Fastener.Tightening
		j := Joint{Fastener: u.Fastener, Stages: u.Stages, Value: wording.Stages(t, u.Stages), Accept: wording.Accepted(t, u.Stages), StageText: wording.StageNames(t, u.Stages)}
		n := max(u.Fastener.Count, 1)
		if len(u.Act.Positions) > 0 {
			for _, p := range u.Act.Positions {
				j.Pieces = append(j.Pieces, Piece{Number: p})
			}
		} else {
			for p := range n {
				j.Pieces = append(j.Pieces, Piece{Number: p + 1})
			}
		}
		step := s.Steps[u.Moment]
		if k := slices.IndexFunc(step.Joints, func(x Joint) bool { return x.Fastener.ID == u.Fastener.ID }); k >= 0 {
			// The same fastener twice in a step: its stages belong together.
			old := &step.Joints[k]
			old.Stages = append(slices.Clone(old.Stages), u.Stages...)
			slices.Sort(old.Stages)
			old.Stages = slices.Compact(old.Stages)
			old.Value, old.Accept, old.StageText = wording.Stages(t, old.Stages), wording.Accepted(t, old.Stages), wording.StageNames(t, old.Stages)
			for _, p := range j.Pieces {
				if !slices.ContainsFunc(old.Pieces, func(x Piece) bool { return x.Number == p.Number }) {
					old.Pieces = append(old.Pieces, p)
				}
			}
			continue
		}
		step.Joints = append(step.Joints, j)
	}
	for _, w := range whole.Owed {
		f := FollowUp{ID: fmt.Sprintf("owed-%d", len(s.FollowUps)+1), Text: wording.Owed(w.What, w.After)}
		f.after, f.Guessed = dueAfter(w.After)
		s.FollowUps = append(s.FollowUps, f)
	}
}

// guessedDue is how long after the closing something is due that falls due after a
// distance, or without a word of when. Common practice, no source.
const guessedDue = 14 * 24 * time.Hour

// dueAfter returns how long after the closing something is due, and whether that was
// guessed.
func dueAfter(q specdata.Quantity) (time.Duration, bool) {
	if q.Dimension() == specdata.Duration && q.SI() > 0 {
		return time.Duration(q.SI() * float64(time.Second)), false
	}
	return guessedDue, true
}

// step returns a step by its number, nil where there is none.
func (s *State) step(n int) *Step {
	if n < 1 || n > len(s.Steps) {
		return nil
	}
	return s.Steps[n-1]
}

// joint returns what a step brings a fastener to.
func (st *Step) joint(fastener string) *Joint {
	for i := range st.Joints {
		if string(st.Joints[i].Fastener.Name()) == fastener || st.Joints[i].Fastener.ID == fastener {
			return &st.Joints[i]
		}
	}
	return nil
}

func (j *Joint) piece(n int) *Piece {
	for i := range j.Pieces {
		if j.Pieces[i].Number == n {
			return &j.Pieces[i]
		}
	}
	return nil
}

// apply puts an event into the state. Events were judged when they were taken.
func (s *State) apply(e *Event) {
	st := s.step(e.Step)
	switch e.Kind {
	case Ticked:
		if st != nil {
			st.Ticked, st.Skipped = e, nil
			s.order = append(s.order, st.Number-1)
		}
	case Skipped:
		if st != nil {
			st.Skipped = e
		}
	case Undone:
		if st != nil {
			st.Ticked, st.Skipped = nil, nil
			s.order = slices.DeleteFunc(s.order, func(n int) bool { return n == st.Number-1 })
			for i := range st.Joints {
				for k := range st.Joints[i].Pieces {
					st.Joints[i].Pieces[k].replace(nil)
				}
			}
			for i := range st.Limits {
				st.Limits[i].replace(nil)
			}
		}
	case Reached:
		if st != nil {
			if j := st.joint(e.Fastener); j != nil {
				if p := j.piece(e.Piece); p != nil {
					p.replace(e)
					if side := j.side(e); side != 0 {
						p.Outside = true
						s.note(&Off{Event: e, step: st, joint: j, low: side < 0})
					}
				}
			}
		}
	case Measured:
		if st != nil && e.Piece >= 1 && e.Piece <= len(st.Limits) {
			l := &st.Limits[e.Piece-1]
			l.replace(e)
			if l.Outside = l.outside(e); l.Outside {
				s.note(&Off{Event: e, step: st, limit: l})
			}
		}
	case Wrench:
		s.Wrenches = slices.DeleteFunc(s.Wrenches, func(w *Event) bool { return w.Wrench == e.Wrench })
		s.Wrenches = append(s.Wrenches, e)
	case Stopped:
		s.Stop = e
	case TakenOver:
		s.Stop = nil
	case Closed:
		s.Close, s.Stop = e, nil
	case Reopened:
		s.Close = nil
	case FollowedUp:
		for i := range s.FollowUps {
			if s.FollowUps[i].ID == e.Thing {
				s.FollowUps[i].Done = e
			}
		}
	}
}

// settle works out what is open and what comes next.
func (s *State) settle() {
	done := dryrun.RunDone(s.library, s.Procedure, s.variant, s.order)
	for i := range done.Open {
		e := &done.Open[i]
		s.Open = append(s.Open, Thing{ID: string(e.Debt) + "/" + e.Thing.String(), Text: e.Words(), Mend: done.Mends[i], FollowUp: e.Debt.FollowUp()})
	}
	s.Around = done.Around.Words()
	answered := map[string]bool{}
	for _, e := range s.Events {
		if e.Kind == Answered {
			answered[e.Thing] = true
		}
	}
	add := func(t Thing) {
		if !answered[t.ID] {
			s.Open = append(s.Open, t)
		}
	}
	s.settleOff(add)
	for _, st := range s.Steps {
		if s.Next == 0 && st.Ticked == nil && st.Skipped == nil {
			s.Next = st.Number
		}
	}
	for _, e := range s.Events {
		if e.Override && e.Kind == Wrench {
			add(Thing{ID: fmt.Sprintf("wrench/%d", e.Number), Text: fmt.Sprintf("wrench %s was out of date (%s) when it was taken", e.Wrench, e.Until), Mend: "check its values with another wrench, then answer"})
		}
	}
	if s.Close != nil {
		for i := range s.FollowUps {
			s.FollowUps[i].Due = s.Close.Time.Add(s.FollowUps[i].after)
		}
	}
}

func pieceName(j *Joint, n int) string {
	name := specdata.InSentence(j.Fastener.Title)
	if len(j.Pieces) > 1 {
		name += fmt.Sprintf(" no. %d", n)
	}
	return name
}

func (l *Limit) outside(e *Event) bool {
	q, err := specdata.ParseQuantity(e.Value)
	if err != nil {
		return false
	}
	return !l.Operation.Low.IsZero() && q.SI() < l.Operation.Low.SI() || !l.Operation.High.IsZero() && q.SI() > l.Operation.High.SI()
}

// Stands is open, stopped or closed.
func (s *State) Stands() string {
	switch {
	case s.Close != nil:
		return "closed"
	case s.Stop != nil:
		return "stopped"
	}
	return "open"
}

// Unsafe lists what keeps the vehicle from the road: everything open but checks owed.
func (s *State) Unsafe() []Thing {
	var out []Thing
	for _, t := range s.Open {
		if !t.FollowUp {
			out = append(out, t)
		}
	}
	return out
}

// Left counts the steps that are neither ticked nor skipped.
func (s *State) Left() int {
	n := 0
	for _, st := range s.Steps {
		if st.Ticked == nil && st.Skipped == nil {
			n++
		}
	}
	return n
}
