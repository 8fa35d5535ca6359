package catalog

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"unicode"

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
	if err := c.named(s, q); err != nil {
		return nil, "", 0, err
	}
	if q.Place, err = placeOf(s, q); err != nil {
		return nil, "", 0, err
	}
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

// placeOf returns the place that a filter means, as the records write it: in any spelling,
// and as any shop says it. The error lists the places where none fits, or several do.
func placeOf(s *snapshot.Snapshot, q store.Query) (string, error) {
	if q.Place == "" {
		return "", nil
	}
	exact := q
	exact.After, exact.Limit = "", 1
	if rs, err := s.List(exact); err != nil || len(rs) > 0 {
		return q.Place, err
	}
	var all, fitting []string
	add := func(place string) {
		if place == q.Place {
			fitting = []string{place} // it is there, and another filter leaves nothing
		}
		all = append(all, place)
		if fits(q.Place, place) || run(q.Place) == run(place) {
			fitting = append(fitting, place)
		}
	}
	for e := range s.All(q.Kind) {
		switch r := e.Record.(type) {
		case *specdata.Fastener:
			add(r.Place)
		case *specdata.Assembly:
			add(r.Place)
		}
	}
	if err := s.Err(); err != nil {
		return "", err
	}
	slices.Sort(fitting)
	fitting = slices.Compact(fitting)
	if slices.Contains(fitting, q.Place) || len(all) == 0 {
		return q.Place, nil
	}
	near := nearPlaces(q.Place, all)
	switch len(fitting) {
	case 0:
		return "", fault.Field("place", "place %q is none of the library's; the likeliest: %s", ask.Clip(q.Place), strings.Join(near[:min(len(near), 8)], ", "))
	case 1:
		return fitting[0], nil
	}
	return "", fault.Field("place", "place %q is said of several; name one of %s", ask.Clip(q.Place), strings.Join(fitting, ", "))
}

// run returns a text in small letters and digits only, so that what is written apart,
// together or with a hyphen is one.
func run(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, text)
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

// named refuses a filter by a record that never was: an empty list would say that
// nothing is for it. The error is RecordNotFound, with a near name if there is one.
func (c *Catalog) named(s *snapshot.Snapshot, q store.Query) error {
	for _, f := range []struct {
		kind specdata.Kind
		id   string
	}{{specdata.KindVehicle, q.Vehicle}, {specdata.KindSource, q.Source}} {
		if f.id != "" {
			if _, err := c.record(s, specdata.NewName(f.kind, f.id)); err != nil {
				return err
			}
		}
	}
	return nil
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
