package desk

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"
	"unicode/utf8"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

// Print is a sheet that was printed.
type Print struct {
	// Code is the code on the sheet.
	Code      string        `json:"code"`
	Procedure specdata.Name `json:"procedure"`
	// Records are the records whose values it shows, with their revisions.
	Records map[specdata.Name]int64 `json:"records"`
	// By is who printed it, "" where that is not known.
	By      string    `json:"by,omitempty"`
	Printed time.Time `json:"printed"`
}

// maxShownRecords is how many records one sheet may show.
const maxShownRecords = 2000

// NotePrint remembers a print, so that anyone who holds it can be notified of a change. The
// same sheet printed again by the same person, or by nobody in particular, is remembered
// by its newest print.
func (d *Desk) NotePrint(ctx context.Context, p Print) error {
	switch {
	case p.Code == "" || len(p.Code) > 80 || !utf8.ValidString(p.Code):
		return fault.Field("code", "code of a sheet %q has %d bytes; allowed: 1 to 80 of plain text", specdata.Shorten(p.Code), len(p.Code))
	case len(p.By) > maxActor || !utf8.ValidString(p.By):
		return fault.Field("by", "name of a person %q has %d bytes; allowed: %d of plain text", specdata.Shorten(p.By), len(p.By), maxActor)
	case len(p.Records) == 0 || len(p.Records) > maxShownRecords:
		return fault.Field("records", "sheet shows %d records; allowed: 1 to %d", len(p.Records), maxShownRecords)
	}
	names := slices.Sorted(maps.Keys(p.Records))
	var writes []store.NoteWrite
	for part := range slices.Chunk(names, store.MaxTerms) {
		some := p
		some.Printed = p.Printed.UTC()
		some.Records = make(map[specdata.Name]int64, len(part))
		w := store.NoteWrite{Space: spacePrints, Key: fmt.Sprintf("%s/%d/%s", p.Code, len(writes), p.By), Base: store.AnyVersion, Time: some.Printed}
		for _, n := range part {
			some.Records[n] = p.Records[n]
			w.Terms = append(w.Terms, string(n))
		}
		body, err := json.Marshal(some)
		if err != nil {
			return err
		}
		w.Body = body
		writes = append(writes, w)
	}
	return d.follower.Store.WriteNotes(ctx, writes)
}

// sheetsOf returns the prints that show a state of one of the records: those by people
// who are known first, so that they can be notified, then the newest first.
func (d *Desk) sheetsOf(ctx context.Context, names []specdata.Name, old map[specdata.Name]*store.Revision) ([]ReachedSheet, error) {
	seen := map[string]ReachedSheet{}
	for _, n := range names {
		err := d.notesOf(ctx, spacePrints, n, func(note *store.Note) error {
			var p Print
			if err := json.Unmarshal(note.Body, &p); err != nil {
				return fmt.Errorf("print %s: %w: %v", note.Key, store.ErrCorrupt, err)
			}
			if p.Records[n] <= old[n].Number {
				seen[p.Code+"/"+p.By] = ReachedSheet{Code: p.Code, Procedure: p.Procedure, By: p.By, Printed: p.Printed}
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	out := slices.Collect(maps.Values(seen))
	slices.SortFunc(out, func(a, b ReachedSheet) int {
		return cmp.Or(compareBool(a.By == "", b.By == ""), b.Printed.Compare(a.Printed), cmp.Compare(a.Code, b.Code), cmp.Compare(a.By, b.By))
	})
	return out, nil
}

// notesOf visits all notes of a space that are listed by a record.
func (d *Desk) notesOf(ctx context.Context, space string, name specdata.Name, visit func(*store.Note) error) error {
	q := store.NoteQuery{Space: space, Term: string(name), Limit: store.MaxLimit}
	for {
		notes, err := d.follower.Store.ListNotes(ctx, q)
		if err != nil {
			return err
		}
		for _, n := range notes {
			if err := visit(n); err != nil {
				return err
			}
			q.After = n.Key
		}
		if len(notes) < q.Limit {
			return nil
		}
	}
}
