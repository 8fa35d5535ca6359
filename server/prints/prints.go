// Package prints makes sheets for paper with a code on them, and says of a code
// whether the sheet is still valid. Nothing need be remembered of a sheet for that: the
// code says from what it was made.
package prints

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"strings"
	"time"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/notary"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

// Prints makes and checks sheets of one library. All methods may be called from many
// goroutines.
type Prints struct {
	catalog *catalog.Catalog
	notary  *notary.Notary
	desk    *desk.Desk
	log     *slog.Logger
}

// New makes the prints of a library. desk remembers who printed what.
func New(c *catalog.Catalog, n *notary.Notary, d *desk.Desk, log *slog.Logger) *Prints {
	return &Prints{c, n, d, log}
}

// Request says which sheet is wanted.
type Request struct {
	Procedure specdata.Name
	// Asked is the vehicle that the sheet is wanted for.
	Asked  whom.Asked
	Side   string
	Moment ask.Moment
	// Printed is the day on the sheet; Base is the address of this server that readers
	// can reach, to which the check's address is joined.
	Printed specdata.Date
	Base    string
	// By is who prints, "" where that is not known.
	By string
}

// Make makes a sheet and remembers that it was printed. The errors are those of the
// request; that a print could not be remembered goes to the log, for whoever stands at
// the vehicle needs the sheet.
func (p *Prints) Make(ctx context.Context, r Request) (*sheet.Sheet, error) {
	if _, err := r.Printed.Time(); err != nil {
		return nil, fault.Field("printed", "%v", err)
	}
	v, position, err := p.catalog.View(ctx, r.Procedure, r.Moment)
	if err != nil {
		return nil, err
	}
	snapshot := p.catalog.Follower.At(ctx, position)
	rec, err := snapshot.Record(r.Procedure)
	if err != nil {
		return nil, err
	}
	ask := sheet.Request{Procedure: r.Procedure.ID(), Asked: r.Asked, Side: specdata.Side(r.Side), Printed: r.Printed, Moment: whom.Moment{Position: position}}
	if view.Demo(v.Message) {
		ask.Notice = demo.Notice
	}
	s, err := sheet.New(snapshot, ask)
	if broken := snapshot.Err(); broken != nil {
		return nil, broken
	}
	if err != nil {
		var shown *fault.Error
		if err = catalog.Refused(err); !errors.As(err, &shown) {
			err = fault.New(fault.InvalidArgument, "%v", err).With("record", string(r.Procedure))
		}
		return nil, err
	}
	uses := make([]specdata.Name, len(s.Uses))
	for i, u := range s.Uses {
		uses[i] = u.Name
	}
	moment, err := p.catalog.Since(ctx, position, uses)
	if err != nil {
		return nil, err
	}
	s.For = s.For.At(moment)
	code, err := s.Code(p.notary.Origin(), rec.Revision.Leaf)
	if err != nil {
		return nil, err
	}
	s.CheckCode = code.String()
	s.CheckURL = strings.TrimSuffix(r.Base, "/") + "/checks/" + url.PathEscape(s.CheckCode)
	// A print by nobody in particular is remembered of the newest state only, so that
	// whoever may read cannot fill the list with the sheets of every state there was.
	if r.By != "" || !moment.Old() {
		p.remember(ctx, s, position, r.By)
	}
	return s, nil
}

func (p *Prints) remember(ctx context.Context, s *sheet.Sheet, position int64, by string) {
	records := make(map[specdata.Name]int64, len(s.Uses))
	snapshot := p.catalog.Follower.At(ctx, position)
	for _, u := range s.Uses {
		if r, err := snapshot.Record(u.Name); err == nil && r != nil {
			records[u.Name] = r.Revision.Number
		}
	}
	err := p.desk.NotePrint(ctx, desk.Print{Code: s.CheckCode, Procedure: s.Procedure, Records: records, By: by, Printed: time.Now()})
	if err != nil {
		p.log.LogAttrs(ctx, slog.LevelWarn, "print not remembered", slog.String("code", s.CheckCode), slog.String("error", err.Error()))
	}
}

// found is a code that a sheet of this library has.
type found struct {
	code    sheet.Code
	request sheet.Request
	// made is the sheet as it was printed, nil where this program cannot make it again.
	made *sheet.Sheet
	uses []*store.Revision
	head int64
}

// find looks a code up. The errors are SheetCodeMistyped, SheetCodeUnknown and
// SheetCodeFalse.
func (p *Prints) find(ctx context.Context, typed string) (*found, error) {
	code, err := sheet.ParseCode(typed)
	if err != nil {
		return nil, fault.New(fault.SheetCodeMistyped, "%v", err).With("code", clip(typed))
	}
	unknown := func(format string, args ...any) error {
		return fault.New(fault.SheetCodeUnknown, "sheet code %s is not known here: %s", code, fmt.Sprintf(format, args...)).With("code", code.String())
	}
	head, err := p.catalog.Position(ctx, ask.Newest())
	switch {
	case err != nil:
		return nil, err
	case code.Position > head:
		return nil, unknown("it is of position %d, and this library's newest is %d; was it printed from another library?", code.Position, head)
	}
	s := p.catalog.Follower.Store
	rev, err := s.Leaf(ctx, code.Leaf)
	switch {
	case errors.Is(err, store.ErrFuture) || errors.Is(err, store.ErrNotFound):
		return nil, unknown("it names revision %d of the log, which is not there; was it printed from another library?", code.Leaf)
	case err != nil:
		return nil, err
	}
	falseCode := fault.New(fault.SheetCodeFalse, "sheet code %s fits no sheet that this library ever printed: it is of another library, or made up; do not use the sheet", code).With("code", code.String())
	if rev.Name.Kind() != specdata.KindProcedure {
		return nil, falseCode
	}
	snapshot := p.catalog.Follower.At(ctx, code.Position)
	inForce, err := snapshot.Record(rev.Name)
	switch {
	case err != nil:
		return nil, err
	case inForce == nil || inForce.Revision.Leaf != code.Leaf:
		return nil, falseCode
	}
	f := &found{code: code, head: head}
	request, ok := sheet.Find(snapshot, code, p.notary.Origin(), rev.Name.ID())
	if err := snapshot.Err(); err != nil {
		return nil, err
	}
	if !ok {
		return nil, falseCode
	}
	f.request = request
	made, err := sheet.New(snapshot, request)
	if err := snapshot.Err(); err != nil {
		return nil, err
	}
	if err == nil {
		f.made = made
	}
	for _, u := range sheet.Uses(snapshot, request) {
		r, err := snapshot.Record(u.Name)
		if err != nil || r == nil {
			return nil, errors.Join(err, snapshot.Err())
		}
		f.uses = append(f.uses, r.Revision)
	}
	return f, nil
}

// options returns what the sheet was asked for, as key=value.
func (f *found) options() []string {
	var out []string
	for _, o := range f.request.Variant.Options {
		out = append(out, o.Key+"="+o.Value)
	}
	return out
}

func clip(s string) string {
	if r := []rune(strings.ToValidUTF8(s, "\uFFFD")); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}
