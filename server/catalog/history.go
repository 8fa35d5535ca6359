package catalog

import (
	"context"
	"fmt"
	"strconv"

	"proofload/server/ask"
	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/specdata"
)

// Current returns the revision of a record in force at a moment, as Document does, and
// RecordWithdrawn where that is a withdrawal.
func (c *Catalog) Current(ctx context.Context, name specdata.Name, m ask.Moment) (*store.Revision, int64, error) {
	rev, position, err := c.Document(ctx, name, m)
	if err != nil || !rev.Withdrawn {
		return rev, position, err
	}
	s := c.Follower.At(ctx, position)
	r, err := c.record(s, name)
	if err == nil {
		err = withdrawn(s, r)
	}
	return nil, 0, err
}

// Document returns the revision of a record in force at a moment; a withdrawal is
// given too, with what was withdrawn.
func (c *Catalog) Document(ctx context.Context, name specdata.Name, m ask.Moment) (*store.Revision, int64, error) {
	position, err := c.Position(ctx, m)
	if err != nil {
		return nil, 0, err
	}
	r, err := c.record(c.Follower.At(ctx, position), name)
	if err != nil {
		return nil, 0, err
	}
	return r.Revision, position, nil
}

// Revisions returns one page of a record's history up to a moment, newest first.
func (c *Catalog) Revisions(ctx context.Context, name specdata.Name, p ask.Page, m ask.Moment) (revs []*store.Revision, next string, position int64, err error) {
	size, err := p.Limit(maxPage)
	if err != nil {
		return nil, "", 0, err
	}
	query := fmt.Sprintf("revisions %q %s", name, m)
	cur, err := c.start(ctx, query, p, m)
	if err != nil {
		return nil, "", 0, err
	}
	if _, err := c.record(c.Follower.At(ctx, cur.Position), name); err != nil {
		return nil, "", 0, err
	}
	before := int64(0)
	if cur.After != "" {
		if before, err = strconv.ParseInt(cur.After, 10, 64); err != nil || before < 1 {
			return nil, "", 0, ask.Foreign()
		}
	}
	// Revisions count down to 1 without gaps, so the last number says whether more follow.
	revs, err = c.Follower.Store.Revisions(ctx, name, cur.Position, before, size)
	if err != nil {
		return nil, "", 0, err
	}
	if n := len(revs); n > 0 && revs[n-1].Number > 1 {
		next = c.Pages.Token(query, ask.Cursor{Position: cur.Position, After: strconv.FormatInt(revs[n-1].Number, 10)})
	}
	return revs, next, cur.Position, nil
}

// Use is a record that refers to another.
type Use struct {
	Record specdata.Record
	// Pointers are the places that refer.
	Pointers []string
}

// Uses returns one page of the records that refer to a record, in order of name.
func (c *Catalog) Uses(ctx context.Context, name specdata.Name, p ask.Page, m ask.Moment) (uses []Use, next string, position int64, err error) {
	size, err := p.Limit(maxPage)
	if err != nil {
		return nil, "", 0, err
	}
	query := fmt.Sprintf("uses %q %s", name, m)
	cur, err := c.start(ctx, query, p, m)
	if err != nil {
		return nil, "", 0, err
	}
	s := c.Follower.At(ctx, cur.Position)
	if _, err := c.record(s, name); err != nil {
		return nil, "", 0, err
	}
	names := s.Uses(name)
	if err := s.Err(); err != nil {
		return nil, "", 0, err
	}
	part, next, err := ask.Cut(c.Pages, names, query, size, cur)
	if err != nil {
		return nil, "", 0, err
	}
	for _, n := range part {
		e := s.Get(n)
		if e == nil {
			continue
		}
		u := Use{Record: e.Record}
		for _, ref := range specdata.References(e.Record) {
			if ref.Name == name {
				u.Pointers = append(u.Pointers, ref.Pointer)
			}
		}
		uses = append(uses, u)
	}
	return uses, next, cur.Position, s.Err()
}

// Snapshot returns the library at a moment.
func (c *Catalog) Snapshot(ctx context.Context, m ask.Moment) (*snapshot.Snapshot, error) {
	position, err := c.Position(ctx, m)
	if err != nil {
		return nil, err
	}
	return c.Follower.At(ctx, position), nil
}
