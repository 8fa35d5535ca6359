package catalog

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/feed"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/change"
	"proofload/specdata/document"
	"proofload/specdata/whom"
)

// Difference is a record that differs between two moments.
type Difference struct {
	*change.Record
	// Old and New are the numbers of its revisions, 0 where there is none.
	Old, New int64
	// For is what the record holds for, as the later state has it; the zero For for a
	// record of no vehicle.
	For whom.For
}

// forWhom returns what a document holds for, with the titles of vehicles as a position has them.
func (c *Catalog) forWhom(ctx context.Context, doc []byte, position int64) (whom.For, error) {
	d, err := document.ReadCanonical(doc)
	if err != nil {
		return whom.For{}, err
	}
	s := c.Follower.At(ctx, position)
	return whom.OfRecord(s, d.Record), s.Err()
}

// Diff is one page of what differs between two positions.
type Diff struct {
	Differences []*Difference
	Next        string
	From, To    int64
	// Total is how many records differ in all.
	Total int
}

// Diff returns one page of the records that differ between two moments, the most
// urgent first. The moments may be in any order.
func (c *Catalog) Diff(ctx context.Context, from, to ask.Moment, kinds []specdata.Kind, p ask.Page) (*Diff, error) {
	size, err := p.Limit(maxPage)
	if err != nil {
		return nil, err
	}
	for _, k := range kinds {
		if k == "" {
			return nil, fault.Field("kinds", "kinds has an empty entry; leave it out for all kinds")
		}
		if _, err := ask.Word("kinds", string(k), specdata.Kinds...); err != nil {
			return nil, err
		}
	}
	query := fmt.Sprintf("diff %s %s %q", from, to, kinds)
	cur, err := c.start(ctx, query, p, to)
	if err != nil {
		return nil, err
	}
	d := &Diff{To: cur.Position}
	first := 0
	if cur.After == "" {
		if d.From, err = c.Position(ctx, from); err != nil {
			return nil, err
		}
	} else if n, err := fmt.Sscanf(cur.After, "%d.%d", &d.From, &first); n != 2 || err != nil {
		return nil, ask.Foreign()
	}
	names, err := c.ranked(ctx, d.From, d.To)
	if err != nil {
		return nil, err
	}
	if len(kinds) > 0 {
		names = slices.DeleteFunc(slices.Clone(names), func(n specdata.Name) bool { return !slices.Contains(kinds, n.Kind()) })
	}
	d.Total = len(names)
	bytes := 0
	for i := min(max(first, 0), len(names)); i < len(names); i++ {
		if len(d.Differences) == size || bytes > pageBytes {
			d.Next = c.Pages.Token(query, ask.Cursor{Position: d.To, After: fmt.Sprintf("%d.%d", d.From, i)})
			break
		}
		one, err := c.difference(ctx, names[i], d.From, d.To)
		if err != nil {
			return nil, err
		}
		if one.For, err = c.forWhomLater(ctx, names[i], d.From, d.To); err != nil {
			return nil, err
		}
		for _, f := range one.Fields {
			bytes += len(f.Old) + len(f.New)
		}
		d.Differences = append(d.Differences, one)
	}
	return d, nil
}

// difference compares a record at two positions; nil where it is the same.
func (c *Catalog) difference(ctx context.Context, name specdata.Name, from, to int64) (*Difference, error) {
	old, oldNumber, err := c.state(ctx, name, from)
	if err != nil {
		return nil, err
	}
	new, newNumber, err := c.state(ctx, name, to)
	if err != nil || oldNumber == newNumber {
		return nil, err
	}
	r, err := change.Of(name, old, new)
	if err != nil || r == nil {
		return nil, err
	}
	d := &Difference{Record: r, Old: oldNumber, New: newNumber}
	return d, nil
}

// forWhomLater returns what a record holds for at one position, or at another where it is not there.
func (c *Catalog) forWhomLater(ctx context.Context, name specdata.Name, from, to int64) (whom.For, error) {
	for _, position := range []int64{to, from} {
		state, number, err := c.state(ctx, name, position)
		if err != nil || number != 0 {
			if err != nil {
				return whom.For{}, err
			}
			return c.forWhom(ctx, state.Document, position)
		}
	}
	return whom.For{}, nil
}

func (c *Catalog) state(ctx context.Context, name specdata.Name, position int64) (change.State, int64, error) {
	r, err := c.Follower.Store.Get(ctx, name, position)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return change.State{}, 0, nil
	case err != nil:
		return change.State{}, 0, err
	}
	return change.State{Document: r.Document, Withdrawn: r.Withdrawn}, r.Number, nil
}

// Changed returns what a revision differs in from the one before it.
func (c *Catalog) Changed(ctx context.Context, r *store.Revision) (*Difference, error) {
	now := change.State{Document: r.Document, Withdrawn: r.Withdrawn}
	f, err := c.forWhom(ctx, r.Document, r.Position)
	if err != nil {
		return nil, err
	}
	if r.Number == 1 {
		rec, err := change.Of(r.Name, change.State{}, now)
		return &Difference{Record: rec, New: 1, For: f}, err
	}
	before, err := c.Follower.Store.GetRevision(ctx, r.Name, r.Number-1)
	if err != nil {
		return nil, err
	}
	rec, err := change.Of(r.Name, change.State{Document: before.Document, Withdrawn: before.Withdrawn}, now)
	if err != nil {
		return nil, err
	}
	if rec == nil { // published again as it was
		rec = &change.Record{Name: r.Name, How: change.Changed}
	}
	return &Difference{Record: rec, Old: before.Number, New: r.Number, For: f}, nil
}

// rankings keeps the order of the last comparisons: what differs between two
// positions never changes, and pages ask for it again.
type rankings struct {
	mu   sync.Mutex
	kept []ranking
}

type ranking struct {
	from, to int64
	names    []specdata.Name
}

// The bounds of a comparison: how many are kept, and how many revisions may lie
// between the two moments.
const (
	maxRankings = 4
	maxBetween  = 250_000
)

// ranked returns the names of the records that differ, the most urgent first.
func (c *Catalog) ranked(ctx context.Context, from, to int64) ([]specdata.Name, error) {
	c.rankings.mu.Lock()
	i := slices.IndexFunc(c.rankings.kept, func(r ranking) bool { return r.from == from && r.to == to })
	if i >= 0 {
		r := c.rankings.kept[i]
		c.rankings.mu.Unlock()
		return r.names, nil
	}
	c.rankings.mu.Unlock()
	touched, err := c.touched(ctx, min(from, to), max(from, to))
	if err != nil {
		return nil, err
	}
	var records []*change.Record
	for _, n := range touched {
		d, err := c.difference(ctx, n, from, to)
		if err != nil {
			return nil, err
		}
		if d != nil {
			d.Fields = nil // the order needs the moves only
			records = append(records, d.Record)
		}
	}
	change.Sort(records)
	names := make([]specdata.Name, len(records))
	for i, r := range records {
		names[i] = r.Name
	}
	c.rankings.mu.Lock()
	defer c.rankings.mu.Unlock()
	if len(c.rankings.kept) == maxRankings {
		c.rankings.kept = c.rankings.kept[1:]
	}
	c.rankings.kept = append(c.rankings.kept, ranking{from, to, names})
	return names, nil
}

// touched returns the records that were published after one position and up to another, sorted.
func (c *Catalog) touched(ctx context.Context, after, upTo int64) ([]specdata.Name, error) {
	at, err := feed.CursorAt(ctx, c.Follower.Store, after)
	if err != nil {
		return nil, err
	}
	end, err := c.Follower.Store.HeadAt(ctx, upTo)
	if err != nil {
		return nil, err
	}
	if n := end.Revisions - at.Leaf; n > maxBetween {
		return nil, fault.Field("from", "%d revisions lie between positions %d and %d; a comparison takes at most %d, choose moments that are nearer to each other", n, after, upTo, maxBetween)
	}
	seen := map[specdata.Name]bool{}
	var names []specdata.Name
	for at.Position < end.Position {
		var revs []*store.Revision
		if revs, at, err = feed.ReadLog(ctx, c.Follower.Store, at, end, store.MaxLimit); err != nil {
			return nil, err
		}
		for _, r := range revs {
			if !seen[r.Name] && !r.Name.IsAct() {
				seen[r.Name] = true
				names = append(names, r.Name)
			}
		}
	}
	slices.Sort(names)
	return names, nil
}
