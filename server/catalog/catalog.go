// Package catalog answers questions about the library: records, torque tables,
// which record applies, history. Transports turn its answers into messages.
package catalog

import (
	"context"
	"fmt"
	"slices"
	"time"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
)

// viewBytes bounds the memory of the cached views.
const viewBytes = 128 << 20

// Catalog reads a store through caches. All methods may be called from many goroutines.
type Catalog struct {
	Follower *snapshot.Follower
	// Pages makes the page tokens of the store.
	Pages *ask.Pages
	views *snapshot.Cache[*view.View]
	// rankings are the comparisons of moments made last.
	rankings rankings
}

// New makes the catalog of a store.
func New(ctx context.Context, s store.Store) (*Catalog, error) {
	follower, err := snapshot.NewFollower(ctx, s)
	if err != nil {
		return nil, err
	}
	pages, err := ask.OpenPages(ctx, s, time.Now())
	if err != nil {
		return nil, err
	}
	return &Catalog{
		Follower: follower,
		Pages:    pages,
		// The message and the JSON take about seven times the encoded form.
		views: snapshot.NewCache(follower, viewBytes, func(v *view.View) int { return 8 * len(v.Proto) }),
	}, nil
}

// Hot returns a record's view at the newest position where it is kept ready, which is
// what nearly every read asks for: no parsing, no deadline, no store but its head.
// The name need not be valid; nothing is kept under one that is not.
func (c *Catalog) Hot(ctx context.Context, name specdata.Name) (v *view.View, position int64, ok bool) {
	position, err := c.Follower.Head(ctx)
	if err != nil {
		return nil, 0, false
	}
	v, ok = c.views.Get(name, position)
	return v, position, ok
}

// View returns a record's view at a moment and the position it answers for.
//
// The error is RecordNotFound where the record never was, with a near name if
// there is one, and RecordWithdrawn where it is withdrawn at that moment.
func (c *Catalog) View(ctx context.Context, name specdata.Name, m ask.Moment) (*view.View, int64, error) {
	position, err := c.Position(ctx, m)
	if err != nil {
		return nil, 0, err
	}
	if v, ok := c.views.Get(name, position); ok {
		return v, position, nil
	}
	s := c.Follower.At(ctx, position)
	r, err := c.inForce(s, name)
	if err != nil {
		return nil, 0, err
	}
	v, err := c.view(ctx, s, r)
	return v, position, err
}

// Record returns a record in force at a moment; the errors are those of View.
func (c *Catalog) Record(ctx context.Context, name specdata.Name, m ask.Moment) (*snapshot.Record, int64, error) {
	position, err := c.Position(ctx, m)
	if err != nil {
		return nil, 0, err
	}
	r, err := c.inForce(c.Follower.At(ctx, position), name)
	return r, position, err
}

// view returns the view of a record that is in force in a snapshot.
func (c *Catalog) view(ctx context.Context, s *snapshot.Snapshot, r *snapshot.Record) (*view.View, error) {
	name := r.Revision.Name
	if v, ok := c.views.Get(name, s.Position()); ok {
		return v, nil
	}
	v, err := view.Build(r.Entry, r.Revision, s)
	if err != nil {
		return nil, err
	}
	head, err := c.Follower.Head(ctx)
	if err != nil {
		return nil, err
	}
	if s.Position() == head {
		c.views.Put(name, v, v.Uses, head)
	}
	return v, nil
}

// inForce returns a record that exists and is not withdrawn.
func (c *Catalog) inForce(s *snapshot.Snapshot, name specdata.Name) (*snapshot.Record, error) {
	r, err := c.record(s, name)
	if err != nil {
		return nil, err
	}
	if r.Revision.Withdrawn {
		return nil, withdrawn(s, r)
	}
	return r, nil
}

// record returns a record that was ever published, or RecordNotFound.
func (c *Catalog) record(s *snapshot.Snapshot, name specdata.Name) (*snapshot.Record, error) {
	r, err := s.Record(name)
	if err != nil {
		return nil, err
	}
	if r == nil {
		return nil, c.notFound(s, name)
	}
	return r, nil
}

// notFound names the nearest id of the collection, looked for among its
// alphabetical neighbours: a slip at the very start of an id is not found.
func (c *Catalog) notFound(s *snapshot.Snapshot, name specdata.Name) error {
	e := fault.New(fault.RecordNotFound, "record %s does not exist at position %d", name, s.Position()).
		With("record", string(name)).With("position", fmt.Sprint(s.Position()))
	var ids []string
	for _, q := range []store.Query{
		{Kind: name.Kind(), Before: name.ID(), Limit: 20},
		{Kind: name.Kind(), After: name.ID(), Limit: 20},
	} {
		rs, err := s.List(q)
		if err != nil {
			return e // the suggestion is a courtesy
		}
		for _, r := range rs {
			ids = append(ids, r.Revision.Name.ID())
		}
	}
	if near := specdata.Nearest(name.ID(), slices.Values(ids)); near != "" {
		e.Message += fmt.Sprintf("; did you mean %s/%s?", name.Kind().Collection(), near)
		e.With("near", name.Kind().Collection()+"/"+near)
	}
	return e
}

// withdrawn says since when and why, and what took over.
func withdrawn(s *snapshot.Snapshot, r *snapshot.Record) error {
	rev := r.Revision
	e := fault.New(fault.RecordWithdrawn, "record %s was withdrawn at position %d: %s", rev.Name, rev.Position, rev.Reason).
		With("record", string(rev.Name)).With("position", fmt.Sprint(rev.Position)).With("why", rev.Reason)
	for _, user := range s.Uses(rev.Name) {
		if u := s.Get(user); u != nil && user.Kind() == rev.Name.Kind() && u.Record.Header().Replaces == rev.Name.ID() {
			e.Message += fmt.Sprintf("; %s takes its place", user)
			return e.With("replacement", string(user))
		}
	}
	return e
}
