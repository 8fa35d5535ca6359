package prints

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"proofload/server/catalog"
	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/change"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

// State says whether a sheet is still valid.
type State string

// The states of a printed sheet.
const (
	Current    State = "current"
	Superseded State = "superseded"
	Withdrawn  State = "withdrawn"
)

// Check is what there is to say of a printed sheet.
type Check struct {
	Code    string
	State   State
	Summary string
	// Sheet is the sheet as it was printed, nil where it cannot be made again.
	Sheet *sheet.Sheet
	// Asked is what somebody says of the vehicle who wants this sheet.
	Asked     whom.Asked
	Procedure specdata.Name
	Title     string
	// Position is what it was printed from, Published when that was; Head is the
	// position up to which this is true.
	Position, Head int64
	Published      time.Time
	// Changes are the most dangerous first.
	Changes []Change
	Values  []Value
	// Same says that a sheet printed now would say the same.
	Same bool
}

// Change is a record that is not what it was.
type Change struct {
	*catalog.Difference
	// Now is the record's newest revision.
	Now *store.Revision
}

// Value is a line of the sheet with what a sheet printed now would say, "" for the same.
type Value struct {
	sheet.Row
	Now string
}

// gone is what Value.Now says of a line that is there no more.
const gone = "not on the sheet any more"

// Check says whether the sheet with a code is still valid.
func (p *Prints) Check(ctx context.Context, typed string) (*Check, error) {
	f, err := p.find(ctx, typed)
	if err != nil {
		return nil, err
	}
	at, err := p.catalog.Follower.Store.HeadAt(ctx, f.code.Position)
	if err != nil {
		return nil, err
	}
	c := &Check{
		Code: f.code.String(), State: Current, Sheet: f.made, Procedure: specdata.NewName(specdata.KindProcedure, f.request.Procedure),
		Title: string(specdata.NewName(specdata.KindProcedure, f.request.Procedure)), Position: f.code.Position, Published: at.Time, Head: f.head,
	}
	if c.Changes, err = p.changes(ctx, f); err != nil {
		return nil, err
	}
	snapshot := p.catalog.Follower.At(ctx, f.head)
	again := f.request
	again.Moment = whom.Moment{Position: f.head}
	now, notNow := sheet.New(snapshot, again)
	if err := snapshot.Err(); err != nil {
		return nil, err
	}
	if notNow != nil {
		now = nil
	}
	if f.made != nil {
		c.Title = f.made.Title
		then := p.catalog.Follower.At(ctx, f.code.Position)
		if proc := library.Procedure(then, f.request.Procedure); proc != nil {
			c.Asked = whom.Say(proc, *f.request.Variant)
		}
		c.Values = values(f.made, now)
		c.Same = now != nil && f.made.SaysTheSame(now)
	}
	c.judge(notNow)
	return c, nil
}

// judge puts the state into a sentence.
func (c *Check) judge(notNow error) {
	for _, ch := range c.Changes {
		if ch.Now.Withdrawn {
			c.State = Withdrawn
			c.Summary = fmt.Sprintf("Do not use this sheet%s: %s, which it rests on, was withdrawn at position %d: %s", c.forWhom(), ch.Name, ch.Now.Position, ch.Now.Reason)
			if ch.Name == c.Procedure {
				c.Summary = fmt.Sprintf("Do not use this sheet%s: the procedure was withdrawn at position %d: %s", c.forWhom(), ch.Now.Position, ch.Now.Reason)
				return
			}
		}
	}
	switch {
	case c.State == Withdrawn:
	case len(c.Changes) == 0:
		c.Summary = fmt.Sprintf("This sheet is still valid%s: nothing it rests on has changed up to position %d.", c.forWhom(), c.Head)
	default:
		c.State = Superseded
		c.Summary = fmt.Sprintf("Do not use this sheet%s: %s since it was printed.", c.forWhom(), changed(len(c.Changes)))
		switch {
		case notNow != nil:
			c.Summary += " It cannot be printed any more: " + notNow.Error()
		case c.Same:
			c.Summary += " A new one says the same in every line; print it, so that its code is current."
		default:
			c.Summary += " Print a new one."
		}
	}
}

// forWhom says what the sheet was for, with a space before it, "" where it cannot be made again.
func (c *Check) forWhom() string {
	if c.Sheet == nil {
		return ""
	}
	return " for " + c.Sheet.For.Text()
}

func changed(n int) string {
	if n == 1 {
		return "a record it rests on has changed"
	}
	return fmt.Sprintf("%d records it rests on have changed", n)
}

// changes compares what the sheet rests on with what is in force.
func (p *Prints) changes(ctx context.Context, f *found) ([]Change, error) {
	var out []Change
	snapshot := p.catalog.Follower.At(ctx, f.code.Position)
	for _, old := range f.uses {
		now, err := p.catalog.Follower.Store.Get(ctx, old.Name, f.head)
		if err != nil {
			return nil, err
		}
		if now.Number == old.Number {
			continue
		}
		r, err := change.Of(old.Name, change.State{Document: old.Document}, change.State{Document: now.Document, Withdrawn: now.Withdrawn})
		if err != nil {
			return nil, err
		}
		if r == nil {
			continue // published again as it was
		}
		out = append(out, Change{&catalog.Difference{Record: r, Old: old.Number, New: now.Number, For: whom.OfRecord(snapshot, snapshot.Get(old.Name).Record)}, now})
	}
	slices.SortFunc(out, func(a, b Change) int { return change.Compare(a.Record, b.Record) })
	return out, nil
}

// values puts the lines of a sheet beside those of one printed now, nil for none.
func values(then, now *sheet.Sheet) []Value {
	var rows []sheet.Row
	if now != nil {
		rows = slices.Clone(now.Torques)
	}
	var out []Value
	for _, r := range then.Torques {
		v := Value{Row: r, Now: gone}
		i := slices.IndexFunc(rows, func(n sheet.Row) bool { return n.What == r.What && n.Stage == r.Stage })
		if i < 0 {
			i = slices.IndexFunc(rows, func(n sheet.Row) bool { return n.What == r.What })
		}
		if i >= 0 {
			switch n := rows[i]; {
			case n.Value == r.Value && n.Band == r.Band && n.Stage == r.Stage:
				v.Now = ""
			case n.Value == r.Value:
				v.Now = n.Value + ", " + n.Stage + " accept " + n.Band
			default:
				v.Now = n.Value
			}
			rows = slices.Delete(rows, i, i+1)
		}
		out = append(out, v)
	}
	return out
}

// Proved is what a sheet was made from, with proofs.
type Proved struct {
	Code       string
	Vehicle    string
	Options    []string
	Side       string
	Documents  []Document
	Checkpoint string
	// For is what the sheet holds for.
	For    whom.For
	Growth *ledger.Growth
	// Head is the position of the checkpoint.
	Head int64
}

// forWhom returns what the sheet with a code holds for.
func (p *Prints) forWhom(ctx context.Context, f *found) (whom.For, error) {
	s := p.catalog.Follower.At(ctx, f.code.Position)
	proc := library.Procedure(s, f.request.Procedure)
	if proc == nil {
		return whom.For{}, s.Err()
	}
	side, err := whom.SideOf(s, proc, string(f.request.Side))
	if err != nil {
		return whom.For{}, err
	}
	return whom.OfVariant(s, proc, *f.request.Variant, side), s.Err()
}

// Document is a document with the proof of its revision.
type Document struct {
	Revision *store.Revision
	Proof    *ledger.Proof
}

// Prove returns everything the sheet with a code was made from, proved in the newest
// tree, and the growth of that from a tree of so many leaves, where that is not 0.
func (p *Prints) Prove(ctx context.Context, typed string, fromSize int64) (*Proved, error) {
	f, err := p.find(ctx, typed)
	if err != nil {
		return nil, err
	}
	c, signed, err := p.notary.Checkpoint(ctx, f.head)
	if err != nil {
		return nil, err
	}
	out := &Proved{Code: f.code.String(), Vehicle: f.request.Variant.Vehicle, Options: f.options(), Side: string(f.request.Side), Checkpoint: string(signed), Head: f.head}
	if out.For, err = p.forWhom(ctx, f); err != nil {
		return nil, err
	}
	for _, u := range f.uses {
		r, proof, err := p.notary.Prove(ctx, u.Name, u.Number, c)
		if err != nil {
			return nil, err
		}
		out.Documents = append(out.Documents, Document{r, proof})
	}
	if len(out.Documents) == 0 {
		return nil, errors.New("sheet rests on nothing")
	}
	if fromSize != 0 {
		out.Growth, err = p.notary.Growth(ctx, fromSize, c)
	}
	return out, err
}
