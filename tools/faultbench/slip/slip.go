// Package slip makes realistic slips in records: one record, one slip, as people
// make them at the keyboard, at the page and in the editor. It only makes them;
// whether a slip changes what a record means is for others to say.
package slip

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Kind is one way of going wrong.
type Kind struct {
	// Name is kebab-case and stable, Group says where it happens: value, whole,
	// entry, record, operation, step or set-up.
	Name, Group string
	// Of is the kind of record it happens to.
	Of specdata.Kind

	fastener  func(*maker, *specdata.Fastener) string
	procedure func(*maker, *specdata.Procedure) string
	// text spoils the document itself, for what no record can hold.
	text func(*maker, []byte) ([]byte, string)
}

// Slip is a record with one slip in it.
type Slip struct {
	Kind string
	// Name is the record's name after the slip, Original what it was made from; they
	// differ only where the slip adds a record.
	Name, Original specdata.Name
	// JSON is the document with the slip, Record what it says, nil where the slip
	// spoils the document so that no record can hold it.
	JSON   []byte
	Record specdata.Record
	// What says the slip in words.
	What string
}

// Kinds lists the kinds in report order.
func Kinds() []Kind {
	var all []Kind
	for _, list := range [][]Kind{values(), entries(), records(), operations(), steps(), setUps()} {
		all = append(all, list...)
	}
	return all
}

// Harmless lists edits that change no meaning, or change it rightly: nothing above
// advice may be said of them.
func Harmless() []Kind {
	edit := func(name string, how func(*specdata.Fastener) string) Kind {
		return Kind{Name: name, Group: "harmless", Of: specdata.KindFastener, fastener: func(_ *maker, f *specdata.Fastener) string { return how(f) }}
	}
	return []Kind{
		edit("note-added", func(f *specdata.Fastener) string {
			f.Note = strings.TrimSpace(f.Note + " Looked at again without a change.")
			return "a note"
		}),
		edit("title-reworded", func(f *specdata.Fastener) string {
			f.Title += ", both sizes"
			return "another title"
		}),
		{Name: "respecified-by-other-document", Group: "harmless", Of: specdata.KindFastener, fastener: respecify},
		edit("printed-pair-dropped", func(f *specdata.Fastener) string {
			for i := range f.Tightening.Stages {
				f.Tightening.Stages[i].Also = specdata.Quantity{}
			}
			return "the printed pair left out"
		}),
		edit("checked-by-another", func(f *specdata.Fastener) string {
			if f.Source == nil || f.Source.CheckedBy == "" {
				return ""
			}
			f.Source.CheckedBy = "t.quill"
			return "another checker"
		}),
	}
}

// respecify returns a fastener a value a little lower from another document about its
// vehicle, with the place and the quote of that document: a rightful correction.
func respecify(m *maker, f *specdata.Fastener) string {
	if f.Source == nil || len(f.Pairs) > 0 || len(f.Tightening.Stages) != 1 || len(torques(f)) != 1 || !f.Tightening.Stages[0].UpTo.IsZero() || f.Tightening.Stages[0].Torque.SI() < 30 {
		return ""
	}
	var gone []string
	for e := range m.library.All(specdata.KindSource) {
		gone = append(gone, e.Record.(*specdata.Source).Supersedes...)
	}
	for e := range m.library.All(specdata.KindSource) {
		s := e.Record.(*specdata.Source)
		if s.ID == f.Source.Document || !slices.Contains(s.Concerns, f.AppliesTo[0].Vehicle) || slices.Contains(gone, s.ID) {
			continue
		}
		stage := &f.Tightening.Stages[0]
		q, ok := factor(0.95)(m, stage.Torque)
		if !ok {
			return ""
		}
		stage.Torque = q
		agree(f)
		f.Source.Document, f.Source.At, f.Source.ReadOn = s.ID, "sheet 90 row 1", "2026-11-24"
		return "respecified to " + q.String() + " by " + s.ID
	}
	return ""
}

// maker is what a kind needs to make a slip.
type maker struct {
	rng     *rand.Rand
	library library.Library
}

// pick returns one of several.
func pick[T any](m *maker, list []T) T { return list[m.rng.IntN(len(list))] }

// ErrNoOccasion says that a record gives no occasion for a kind of slip, or that
// the slip would change not one character.
var ErrNoOccasion = errors.New("record gives no occasion for this slip")

// Make makes a slip of the kind in a record.
func (k Kind) Make(rng *rand.Rand, l library.Library, e *library.Entry) (Slip, error) {
	m := &maker{rng, l}
	s := Slip{Kind: k.Name, Name: e.Name(), Original: e.Name()}
	var err error
	switch {
	case k.text != nil:
		s.JSON, s.What = k.text(m, e.Canonical)
	case k.fastener != nil:
		var f *specdata.Fastener
		if f, err = clone(e.Record.(*specdata.Fastener)); err == nil {
			s.What, s.Record = k.fastener(m, f), f
		}
	default:
		var p *specdata.Procedure
		if p, err = clone(e.Record.(*specdata.Procedure)); err == nil {
			s.What, s.Record = k.procedure(m, p), p
		}
	}
	if err != nil {
		return Slip{}, err
	}
	if s.Record != nil {
		s.Name = s.Record.Name()
		if s.JSON, err = json.Marshal(s.Record); err != nil {
			return Slip{}, fmt.Errorf("record %s cannot be written: %w", s.Name, err)
		}
	}
	before, err := json.Marshal(e.Record)
	if err != nil {
		return Slip{}, fmt.Errorf("record %s cannot be written: %w", e.Name(), err)
	}
	if s.What == "" || bytes.Equal(s.JSON, e.Canonical) || bytes.Equal(s.JSON, before) {
		return Slip{}, ErrNoOccasion
	}
	return s, nil
}

// clone copies a record through its document form.
func clone[R any](r *R) (*R, error) {
	b, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	c := new(R)
	return c, json.Unmarshal(b, c)
}
