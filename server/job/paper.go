package job

import (
	"context"
	"fmt"
	"strings"
	"time"

	"proofload/specdata"
	"proofload/specdata/wording"
)

func tightening(f *specdata.Fastener) string {
	if f == nil {
		return "withdrawn"
	}
	return wording.Tightening(f.Tightening)
}

// Tag is what hangs on the steering wheel of a vehicle that work has stopped on.
type Tag struct {
	// Verdict is "NOT FIT TO DRIVE", or that nothing is off, loose or open: never that
	// the vehicle is fit, which is for people to say.
	Verdict string
	Unfit   bool
	Open    []Thing
	// Around is how the vehicle stands, Next the next act.
	Around, Next string
	LeftBy       string
	LeftAt       time.Time
	Why          string
	// Overrides are what was done against what the state forbade.
	Overrides []*Event
}

// Tag returns the tag of a job as it is.
func (s *State) Tag() *Tag {
	t := &Tag{Open: s.Open, Around: s.Around}
	unsafe, started := s.Unsafe(), len(s.order) > 0
	switch {
	case len(unsafe) > 0 || s.Around != "":
		t.Verdict, t.Unfit = "NOT FIT TO DRIVE", true
	case started && s.Left() > 0:
		t.Verdict, t.Unfit = fmt.Sprintf("NOT FIT TO DRIVE: %d of %d steps are not done", s.Left(), len(s.Steps)), true
	case !started:
		t.Verdict = "No step has been ticked"
	default:
		t.Verdict = "Nothing is off, loose or open"
	}
	if st := s.step(s.Next); st != nil {
		t.Next = fmt.Sprintf("%d. %s", st.Number, st.Reading)
	}
	if s.Stop != nil {
		t.LeftBy, t.LeftAt, t.Why = s.Stop.Person, s.Stop.Time, s.Stop.Words
	}
	for _, e := range s.Events {
		if e.Override {
			t.Overrides = append(t.Overrides, e)
		}
	}
	return t
}

// Dates returns the calendar of a job.
func (j *Jobs) Dates(ctx context.Context, id string) ([]byte, error) {
	s, err := j.Get(ctx, id)
	if err != nil {
		return nil, err
	}
	return s.Calendar(j.now()), nil
}

// Calendar is the follow-ups that are not done, as iCalendar (RFC 5545): an entry a
// day for each. A job that is not closed has none.
func (s *State) Calendar(now time.Time) []byte {
	var b strings.Builder
	line := func(text string) {
		// Lines are folded after 75 octets, between characters (RFC 5545, 3.1).
		room := 75
		for _, r := range text {
			if n := len(string(r)); n > room {
				b.WriteString("\r\n ")
				room = 74
			}
			room -= len(string(r))
			b.WriteRune(r)
		}
		b.WriteString("\r\n")
	}
	line("BEGIN:VCALENDAR")
	line("VERSION:2.0")
	line("PRODID:-//proofload//jobs//EN")
	for _, f := range s.FollowUps {
		if f.Due.IsZero() || f.Done != nil {
			continue
		}
		about := "Job " + s.ID + ", " + s.Procedure.Title
		if s.Start.Order != "" {
			about += ", order " + s.Start.Order
		}
		if f.Guessed {
			about += ". The day is a guess: it is due after a distance, or nobody said when"
		}
		line("BEGIN:VEVENT")
		line("UID:" + s.ID + "-" + f.ID + "@proofload")
		line("DTSTAMP:" + now.UTC().Format("20060102T150405Z"))
		line("DTSTART;VALUE=DATE:" + f.Due.UTC().Format("20060102"))
		line("SUMMARY:" + escape(f.Text))
		line("DESCRIPTION:" + escape(about))
		line("END:VEVENT")
	}
	line("END:VCALENDAR")
	return []byte(b.String())
}

// escape writes a text value (RFC 5545, 3.3.11).
func escape(s string) string {
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\r\n", `\n`, "\n", `\n`, "\r", `\n`).Replace(s)
}
