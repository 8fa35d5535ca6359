package catalog

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"proofload/server/ask"
	"proofload/server/snapshot"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/whom"
)

// Table is one page of a torque table.
type Table struct {
	Fasteners []*view.View
	Next      string
	// Undecided is what the request leaves open and some row of the whole table depends on.
	Undecided []whom.Question
	// Places lists the places of the vehicle, the likeliest first, where none fits the
	// one asked for.
	Places   []string
	Position int64
	// For is the vehicle with what the request says of it.
	For whom.For
}

// Table returns the fasteners of a vehicle that apply or may apply given what is
// known, in order of place, title and id. A place keeps those that have all its words
// in theirs, in any spelling and as any shop says it.
func (c *Catalog) Table(ctx context.Context, vehicle specdata.Name, place string, k whom.Stated, p ask.Page, m ask.Moment) (*Table, error) {
	size, err := p.Limit(maxPage)
	if err != nil {
		return nil, err
	}
	query := fmt.Sprintf("table %q %s", append([]string{string(vehicle), place, k.Built, k.Side}, k.Options...), m)
	cur, err := c.start(ctx, query, p, m)
	if err != nil {
		return nil, err
	}
	s := c.Follower.At(ctx, cur.Position)
	f, err := c.facts(s, vehicle, k)
	if err != nil {
		return nil, err
	}
	var rows []*snapshot.Record
	var open []string
	var waiting []specdata.Applies
	var places []string
	placed := false
	for e := range s.ForVehicle(specdata.KindFastener, f.Vehicle.ID) {
		r := e.Record.(*specdata.Fastener)
		if place != "" && !fits(place, r.Place) {
			places = append(places, r.Place)
			continue
		}
		placed = true
		st := f.Record(r.AppliesTo)
		if !st.May() {
			continue
		}
		if !st.Applies() {
			open = whom.Union(open, st.Open)
			waiting = append(waiting, r.AppliesTo...)
		}
		rec, err := s.Record(e.Name())
		if err != nil {
			return nil, err
		}
		rows = append(rows, rec)
	}
	if err := s.Err(); err != nil {
		return nil, err
	}
	slices.SortFunc(rows, func(a, b *snapshot.Record) int {
		x, y := a.Entry.Record.(*specdata.Fastener), b.Entry.Record.(*specdata.Fastener)
		return cmp.Or(strings.Compare(x.Place, y.Place), strings.Compare(x.Title, y.Title), strings.Compare(x.ID, y.ID))
	})
	part, next, err := ask.Cut(c.Pages, rows, query, size, cur)
	if err != nil {
		return nil, err
	}
	views, err := c.viewsOf(ctx, s, part)
	if err != nil {
		return nil, err
	}
	t := &Table{Fasteners: views, Next: next, Undecided: f.Ask(open, waiting), Position: cur.Position, For: f.For(s)}
	if !placed {
		t.Places = nearPlaces(place, places)
	}
	return t, nil
}

// nearPlaces lists places, each once: those that share most words with the one asked
// for first, then by name.
func nearPlaces(asked string, places []string) []string {
	slices.Sort(places)
	places = slices.Compact(places)
	distance := map[string]int{}
	for _, p := range places {
		distance[p], _ = missing(asked, p)
		if specdata.Nearest(strings.ToLower(asked), slices.Values([]string{p})) != "" {
			distance[p] = -1 // a slip of the keyboard
		}
	}
	slices.SortStableFunc(places, func(a, b string) int { return cmp.Compare(distance[a], distance[b]) })
	return places
}

// facts reads the vehicle and checks what is known about it.
func (c *Catalog) facts(s *snapshot.Snapshot, vehicle specdata.Name, k whom.Stated) (whom.Facts, error) {
	r, err := c.inForce(s, vehicle)
	if err != nil {
		return whom.Facts{}, err
	}
	f, err := k.Check(r.Entry.Record.(*specdata.Vehicle))
	return f, Refused(err)
}
