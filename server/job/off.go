package job

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/specdata/wording"
)

// Off is a value that was entered and lay outside its band or limit. It stays on the job
// whatever is entered after it: a value that was too high has been in the piece.
type Off struct {
	// ID is the thing's while it is open. Text says what was entered and what is allowed,
	// Mend what closes it.
	ID, Text, Mend string
	Event          *Event
	// Renew says that only a new piece closes it: the piece is used once, or may have
	// yielded. Why says which.
	Renew bool
	Why   string
	// End is the event that closed it, nil while it is open.
	End *Event

	step  *Step
	joint *Joint // nil for a measurement
	limit *Limit // nil for a torque
	low   bool
}

// note keeps a value that is outside its band or limit.
func (s *State) note(o *Off) {
	e := o.Event
	if o.joint != nil {
		o.ID = fmt.Sprintf("value/%d", e.Number)
		o.Text = fmt.Sprintf("%s: reached %s, accepted is %s", pieceName(o.joint, e.Piece), e.Value, o.joint.Accept)
		switch {
		case o.low:
			o.Mend = "tighten it to its value and enter that, or say why it may stay"
		default:
			o.judgePiece()
		}
	} else {
		o.ID = fmt.Sprintf("limit/%d", e.Number)
		o.Text = fmt.Sprintf("%s measured, the limit is %s", e.Value, o.limit.Text)
		o.Mend = cmp.Or(o.limit.Operation.Accept, "renew the part and name the new one, or put it right, measure again and say what was done")
	}
	s.Off = append(s.Off, o)
}

// judgePiece says what a torque above its band means for the piece that bore it.
func (o *Off) judgePiece() {
	f := o.joint.Fastener
	var why []string
	if r := f.Reuse; r != nil && strings.HasPrefix(r.Rule, "replace") && (len(r.Renew) == 0 || slices.Contains(r.Renew, "bolt") || slices.Contains(r.Renew, "nut")) {
		why = append(why, "it is used once")
	}
	if q, err := specdata.ParseQuantity(o.Event.Value); err == nil {
		in, _ := joint.FromFastener(f)
		w := joint.Judge(in).Window
		for _, b := range []struct {
			what  string
			above float64
		}{{"breaks", w.Breaks.Torque}, {"yields", w.OverYield.Torque}, {"may yield", w.MayYield.Torque}} {
			if b.above > 0 && q.SI() > b.above {
				why = append(why, fmt.Sprintf("it %s above %s N·m", b.what, strconv.FormatFloat(b.above, 'f', 1, 64)))
				break
			}
		}
	}
	o.Text += "; over-torqued"
	o.Mend = "loosen it, tighten it again and say why the piece may stay, or fit a new piece and name it"
	if len(why) > 0 {
		o.Renew, o.Why = true, strings.Join(why, " and ")
		o.Text += ": " + o.Why
		o.Mend = "fit a new piece, name it, and enter the value that it reached"
	}
}

// same reports whether an event is of the piece or the measurement that was off.
func (o *Off) same(e *Event) bool {
	switch e.Kind {
	case Reached:
		return o.joint != nil && strings.TrimPrefix(e.Fastener, "fasteners/") == o.joint.Fastener.ID && e.Piece == o.Event.Piece
	case Measured:
		return o.limit != nil && e.Step == o.Event.Step && e.Piece == o.Event.Piece
	}
	return false
}

// inside reports whether an event is a value of a step that lies within what is allowed.
func (s *State) inside(e *Event) bool {
	st := s.step(e.Step)
	switch {
	case st == nil:
		return false
	case e.Kind == Reached:
		j := st.joint(e.Fastener)
		return j != nil && !j.outside(e)
	case e.Kind == Measured && e.Piece >= 1 && e.Piece <= len(st.Limits):
		return !st.Limits[e.Piece-1].outside(e)
	}
	return false
}

// ends reports whether an event that came later closes an off value.
func (s *State) ends(o *Off, e *Event) bool {
	renewed, reason := e.NewPiece.Key != "", e.Text.Key != ""
	switch {
	case e.Kind == Answered:
		// An answer is about the piece: it closes what was off of it before, too.
		if e.Thing != o.ID && !slices.ContainsFunc(s.Off, func(x *Off) bool { return x.ID == e.Thing && o.same(x.Event) }) {
			return false
		}
		return renewed || !o.Renew
	case e.Kind == Undone && e.Step == o.Event.Step:
		return o.low
	case !o.same(e):
		return false
	case renewed:
		return true
	case o.low:
		return e.Step == o.Event.Step
	}
	return reason && !o.Renew && s.inside(e)
}

// settleOff works out which off values are open, and which new pieces have no value yet.
func (s *State) settleOff(add func(Thing)) {
	for _, o := range s.Off {
		var last *Event
		for _, e := range s.Events {
			if e.Number <= o.Event.Number {
				continue
			}
			if o.End == nil && s.ends(o, e) {
				o.End = e
			}
			if o.same(e) && e.Step == o.Event.Step {
				last = e
			}
		}
		switch {
		case o.End == nil:
			text := o.Text
			if last != nil {
				text += "; entered since: " + entered(last)
			}
			add(Thing{ID: o.ID, Text: text, Mend: o.Mend, Renew: o.Renew})
		case o.End.Kind == Answered && o.End.NewPiece.Key != "" && (last == nil || last.Number < o.End.Number):
			id := fmt.Sprintf("new/%d", o.End.Number)
			if slices.ContainsFunc(s.Open, func(t Thing) bool { return t.ID == id }) {
				continue
			}
			if o.joint != nil {
				add(Thing{ID: id, Text: pieceName(o.joint, o.Event.Piece) + ": the new piece has no value entered", Mend: "tighten it, every stage of it, and enter the value that it reached"})
			} else {
				add(Thing{ID: id, Text: "the new piece is not measured; the limit is " + o.limit.Text, Mend: "measure the new piece and enter the value"})
			}
		}
	}
}

// entered is the value of an event in words.
func entered(e *Event) string {
	if e.Clicked {
		return "clicked"
	}
	return e.Value
}

// How says how an off value was closed: the new piece and the reason; "entered again"
// where a later value alone did.
func (o *Off) How() string {
	var parts []string
	if o.End.Fitted != "" {
		parts = append(parts, "new piece: "+o.End.Fitted)
	}
	if o.End.Words != "" {
		parts = append(parts, o.End.Words)
	}
	if len(parts) == 0 && o.End.Kind == Undone {
		return "step undone"
	}
	if len(parts) == 0 {
		return "then " + entered(o.End)
	}
	return strings.Join(parts, "; ")
}

// Answered lists the off values that are open no longer, in the order they were entered.
func (s *State) Answered() []*Off {
	var out []*Off
	for _, o := range s.Off {
		if o.End != nil {
			out = append(out, o)
		}
	}
	return out
}

// outside reports whether a reached torque is outside the band of the last torque that
// the step's stages have. A click is taken at its word.
func (j *Joint) outside(e *Event) bool { return j.side(e) != 0 }

// side returns below 0 for a torque under its band, above 0 for one over it, 0 within.
func (j *Joint) side(e *Event) int {
	if e.Clicked || e.Value == "" {
		return 0
	}
	q, err := specdata.ParseQuantity(e.Value)
	if err != nil || q.Dimension() != specdata.Torque {
		return 0
	}
	x := q.SI()
	for _, i := range slices.Backward(j.Stages) {
		if b, ok := wording.BandOf(&j.Fastener.Tightening.Stages[i], j.Fastener.Tightening.Tolerance); ok {
			low, _ := b.Low.Float64()
			high, _ := b.High.Float64()
			switch {
			case x < low*(1-1e-12):
				return -1
			case x > high*(1+1e-12):
				return 1
			}
			return 0
		}
	}
	return 0
}
