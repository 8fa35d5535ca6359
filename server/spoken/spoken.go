// Package spoken holds transcripts of what presenters say against the library as it was
// at a moment, and keeps references to them.
package spoken

import (
	"context"
	"errors"
	"strings"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/specdata"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
	"proofload/specdata/narration"
	"proofload/specdata/whom"
)

// Spoken checks and keeps narrations of one library. All methods may be called from many
// goroutines.
type Spoken struct {
	catalog *catalog.Catalog
	desk    *desk.Desk
}

// New makes the narrations of a library; the desk keeps the references.
func New(c *catalog.Catalog, d *desk.Desk) *Spoken { return &Spoken{c, d} }

// MaxText is the longest transcript that is read over the wire, in bytes: more than a
// working day of speech, and less than a message may have.
const MaxText = 768 << 10

// Request is a transcript and what is shown in it.
type Request struct {
	Procedure string
	// File is the name of the transcript, whose ending says what it is.
	File, Text string
	Vehicle    string
	Options    []string
	Side       string
	Moment     ask.Moment
	// Field is put before the names of fields in errors: "narration." or nothing.
	Field string
}

// Report is what was found and heard.
type Report struct {
	Position  int64
	Procedure *specdata.Procedure
	Library   library.Library
	*narration.Checked
}

// Check holds a transcript against a procedure. The errors are those of the request; of
// a transcript that cannot be read they say line and column.
func (s *Spoken) Check(ctx context.Context, r Request) (*Report, error) {
	name, err := ask.Name(r.Field+"procedure", r.Procedure, specdata.KindProcedure)
	if err != nil {
		return nil, err
	}
	switch {
	case r.File == "" || len(r.File) > 200:
		return nil, fault.Field(r.Field+"file", "file name has %d bytes; allowed: 1 to 200, ending in .vtt, .srt or .txt", len(r.File))
	case len(r.Text) > MaxText:
		return nil, fault.New(fault.LimitSize, "transcript has %d bytes; allowed: %d; give the text track, not the video", len(r.Text), MaxText)
	case strings.TrimSpace(r.Text) == "":
		return nil, fault.Field(r.Field+"text", "text is missing; give the transcript")
	}
	cues, err := narration.Read(r.File, []byte(r.Text))
	if bad := (*narration.FileError)(nil); errors.As(err, &bad) {
		if bad.Line == 0 {
			return nil, fault.Field(r.Field+"file", "%s", bad.Message)
		}
		return nil, fault.Field(r.Field+"text", "line %d, column %d: %s", bad.Line, bad.Column, bad.Message)
	} else if err != nil {
		return nil, err
	}
	_, position, err := s.catalog.Record(ctx, name, r.Moment)
	if err != nil {
		return nil, err
	}
	l := s.catalog.Follower.At(ctx, position)
	p := library.Procedure(l, name.ID())
	if err := l.Err(); err != nil {
		return nil, err
	}
	asked := whom.Asked{Vehicle: strings.TrimPrefix(r.Vehicle, "vehicles/"), Stated: whom.Stated{Options: r.Options, Side: r.Side}}
	if _, err := whom.Pick(l, p, asked); err != nil {
		return nil, catalog.Refused(err)
	}
	if r.Side != "" {
		if _, err := whom.SideOf(l, p, r.Side); err != nil {
			return nil, catalog.Refused(err)
		}
	}
	options := map[string]string{}
	for _, o := range r.Options {
		key, value, _ := strings.Cut(o, "=")
		options[key] = value
	}
	out := &Report{Position: position, Procedure: narration.Of(p, options), Library: l}
	if out.Checked, err = narration.Check(ctx, out.Procedure, l, lexicon.Default(), specdata.Side(r.Side), cues); err != nil {
		return nil, err
	}
	return out, l.Err()
}

// Keep checks a transcript and keeps a reference to it.
func (s *Spoken) Keep(ctx context.Context, r Request, reference, by, request string) (*desk.Narration, *Report, error) {
	report, err := s.Check(ctx, r)
	if err != nil {
		return nil, nil, err
	}
	n := desk.Narration{
		Procedure: report.Procedure.Name(), Reference: reference, File: r.File, Hash: desk.TranscriptHash(r.Text),
		Vehicle: strings.TrimPrefix(r.Vehicle, "vehicles/"), Options: r.Options, Side: r.Side, Position: report.Position, By: by,
	}
	snapshot := s.catalog.Follower.At(ctx, report.Position)
	for _, v := range report.Values {
		rec, err := snapshot.Record(v.Fastener)
		if err != nil {
			return nil, nil, err
		}
		if rec == nil {
			continue
		}
		n.Values = append(n.Values, desk.SpokenValue{Fastener: v.Fastener, Revision: rec.Revision.Number, Stage: v.Stage, Start: v.Start, End: v.End, Said: v.Said})
	}
	for _, f := range report.Findings {
		if f.Severity == specdata.Error {
			n.Errors++
		} else {
			n.Warnings++
		}
	}
	kept, err := s.desk.KeepNarration(ctx, n, request)
	return kept, report, err
}
