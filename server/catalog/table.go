package catalog

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

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
	Undecided []Question
	Position  int64
}

// Table gives the fasteners of a vehicle that apply or may apply given what is
// known, in order of place, title and id.
func (c *Catalog) Table(ctx context.Context, vehicle specdata.Name, place string, k Known, p Page, m Moment) (*Table, error) {
	size, err := p.size()
	if err != nil {
		return nil, err
	}
	query := fmt.Sprintf("table %q %s", append([]string{string(vehicle), place, k.Built, k.Side}, k.Options...), m)
	cur, err := c.start(ctx, query, p, m)
	if err != nil {
		return nil, err
	}
	s := c.Shelf.At(ctx, cur.position)
	f, err := c.facts(s, vehicle, k)
	if err != nil {
		return nil, err
	}
	var rows []*snapshot.Record
	var open []string
	var waiting []specdata.Applies
	for e := range s.ForVehicle(specdata.KindFastener, f.Vehicle.ID) {
		r := e.Record.(*specdata.Fastener)
		if place != "" && r.Place != place {
			continue
		}
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
	part, next, err := page(rows, size, cur, query)
	if err != nil {
		return nil, err
	}
	views, err := c.viewsOf(ctx, s, part)
	if err != nil {
		return nil, err
	}
	return &Table{views, next, f.Ask(open, waiting), cur.position}, nil
}

// facts reads the vehicle and checks what is known about it.
func (c *Catalog) facts(s *snapshot.Snapshot, vehicle specdata.Name, k Known) (whom.Facts, error) {
	r, err := c.inForce(s, vehicle)
	if err != nil {
		return whom.Facts{}, err
	}
	f, err := k.Check(r.Entry.Record.(*specdata.Vehicle))
	return f, Refused(err)
}
