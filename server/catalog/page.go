package catalog

import (
	"context"
	"fmt"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
)

// pageBytes ends a page early, so that with its last view it fits the 4 MiB that a
// gRPC client takes unless told otherwise.
const pageBytes = 3 << 20

// maxPage is the largest page.
const maxPage = store.MaxLimit

// start returns where a page begins: at its moment, or where its token says.
func (c *Catalog) start(ctx context.Context, query string, p ask.Page, m ask.Moment) (ask.Cursor, error) {
	if p.Token == "" {
		position, err := c.Position(ctx, m)
		return ask.Cursor{Position: position}, err
	}
	cur, err := c.Pages.Cursor(query, p.Token)
	if err != nil {
		return cur, err
	}
	// A token may outlive the server that gave it; what it names must be published here.
	if _, err := c.Position(ctx, ask.NewestFrom(max(m.Least, cur.Position))); err != nil {
		return cur, err
	}
	return cur, nil
}

// List returns one page of the records of a kind that match a query, in order of
// id, the token of the next page and the position they answer for.
func (c *Catalog) List(ctx context.Context, q store.Query, p ask.Page, m ask.Moment) (views []*view.View, next string, position int64, err error) {
	size, err := p.Limit(maxPage)
	if err != nil {
		return nil, "", 0, err
	}
	if err := validFilter(q); err != nil {
		return nil, "", 0, err
	}
	query := fmt.Sprintf("%q %s", []string{string(q.Kind), q.Vehicle, q.Place, q.Thread, q.Joint, q.Source}, m)
	cur, err := c.start(ctx, query, p, m)
	if err != nil {
		return nil, "", 0, err
	}
	s := c.Follower.At(ctx, cur.Position)
	q.After = cur.After
	more := false
	for bytes := 0; !more; {
		q.Limit = min(size-len(views)+1, store.MaxLimit)
		rs, err := s.List(q)
		if err != nil {
			return nil, "", 0, err
		}
		for _, r := range rs {
			if len(views) == size || bytes > pageBytes {
				more = true
				break
			}
			v, err := c.view(ctx, s, r)
			if err != nil {
				return nil, "", 0, err
			}
			bytes += len(v.Proto)
			views = append(views, v)
			q.After = r.Revision.Name.ID()
		}
		if len(rs) < q.Limit {
			break
		}
	}
	if more {
		next = c.Pages.Token(query, ask.Cursor{Position: cur.Position, After: q.After})
	}
	return views, next, cur.Position, nil
}

// validFilter refuses filters that can match nothing because they are misspelt in form.
func validFilter(q store.Query) error {
	for _, f := range []struct{ field, value string }{{"vehicle", q.Vehicle}, {"source", q.Source}} {
		if f.value != "" && !specdata.ValidID(f.value) {
			return fault.Field(f.field, "%s %q is not an id; write lower-case words joined by hyphens, without the collection", f.field, ask.Clip(f.value))
		}
	}
	for _, f := range []struct{ field, value string }{{"place", q.Place}, {"thread", q.Thread}} {
		if len(f.value) > 200 {
			return fault.Field(f.field, "%s has %d bytes; allowed: 200", f.field, len(f.value))
		}
	}
	_, err := ask.Word("joint", q.Joint, specdata.JointKinds...)
	return err
}

// viewsOf returns the views of records, all in force in the snapshot.
func (c *Catalog) viewsOf(ctx context.Context, s *snapshot.Snapshot, rs []*snapshot.Record) ([]*view.View, error) {
	out := make([]*view.View, len(rs))
	for i, r := range rs {
		v, err := c.view(ctx, s, r)
		if err != nil {
			return nil, err
		}
		out[i] = v
	}
	return out, nil
}
