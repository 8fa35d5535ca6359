package web

import (
	"context"
	"strconv"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/view"
	"proofload/specdata"
)

// old is what a page of a moment that is past says on top.
type old struct {
	// AsOf is the moment in words, Position its position.
	AsOf, Position string
	// Changed says that what is shown is not what holds now; Now is what holds,
	// Current the address of it.
	Changed bool
	Now     string
	Current string
}

// oldAt returns what a page of a position says of its age, nil where it is the newest.
func (p *Pages) oldAt(ctx context.Context, position int64, current string) (*old, error) {
	head, err := p.catalog.Position(ctx, ask.Newest())
	if err != nil || position == head {
		return nil, err
	}
	at, err := p.catalog.Follower.Store.HeadAt(ctx, position)
	if err != nil {
		return nil, err
	}
	return &old{AsOf: at.Time.UTC().Format("2 January 2006, 15:04 UTC"), Position: strconv.FormatInt(position, 10), Current: current}, nil
}

// oldRecord is oldAt for the page of one record: it says whether the record has
// changed since, and for a fastener what its value is now.
func (p *Pages) oldRecord(ctx context.Context, name specdata.Name, shown *view.View, position int64) (*old, error) {
	o, err := p.oldAt(ctx, position, "/"+string(name))
	if o == nil || err != nil {
		return nil, err
	}
	now, _, err := p.catalog.View(ctx, name, ask.Newest())
	if err != nil {
		e := fault.From(err)
		if e.Kind != fault.RecordWithdrawn {
			return nil, err
		}
		o.Changed, o.Now = true, "withdrawn; do not use it for new work"
		return o, nil
	}
	o.Changed = now.ETag != shown.ETag
	if f, ok := now.Message.(*pb.Fastener); ok && o.Changed {
		o.Now = f.Summary
		if f.Summary == shown.Message.(*pb.Fastener).Summary {
			o.Now = "the same value, but something else of the record changed"
		}
	}
	return o, nil
}
