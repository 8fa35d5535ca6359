package catalog

import (
	"context"
	"fmt"

	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/change"
	"proofload/specdata/document"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

// Since returns the moment of a read at a position, with what has changed since of
// some records, a line each that says what it is now. Whatever shows an old moment
// shows these lines.
func (c *Catalog) Since(ctx context.Context, position int64, names []specdata.Name) (whom.Moment, error) {
	m := whom.Moment{Position: position}
	head, err := c.Follower.Head(ctx)
	if err != nil {
		return m, err
	}
	if m.Newest = head; head <= position || position < 1 {
		m.Newest = max(head, position)
		return m, nil
	}
	at, err := c.Follower.Store.HeadAt(ctx, position)
	if err != nil {
		return m, err
	}
	m.Published = at.Time
	for _, name := range names {
		old, err := c.Follower.Store.Get(ctx, name, position)
		if err != nil {
			return m, err
		}
		now, err := c.Follower.Store.Get(ctx, name, head)
		if err != nil {
			return m, err
		}
		line, err := changedTo(old, now)
		if err != nil {
			return m, err
		}
		if line != "" {
			m.Changed = append(m.Changed, line)
		}
	}
	return m, nil
}

// changedTo says what a record is now, "" where it is what it was.
func changedTo(old, now *store.Revision) (string, error) {
	if old.Number == now.Number {
		return "", nil
	}
	r, err := change.Of(old.Name, change.State{Document: old.Document, Withdrawn: old.Withdrawn}, change.State{Document: now.Document, Withdrawn: now.Withdrawn})
	if err != nil || r == nil {
		return "", err
	}
	where := fmt.Sprintf("position %d: %s", now.Position, now.Reason)
	switch {
	case r.How == change.Withdrawn:
		return fmt.Sprintf("%s (%s) is withdrawn, %s", r.Title, r.Name, where), nil
	case len(r.Moves) == 0:
		return fmt.Sprintf("%s (%s) has changed, %s", r.Title, r.Name, where), nil
	}
	doc, err := document.ReadCanonical(now.Document)
	if err != nil {
		return "", err
	}
	f, ok := doc.Record.(*specdata.Fastener)
	if !ok {
		return "", fmt.Errorf("record %s has torques and is no fastener", r.Name)
	}
	return fmt.Sprintf("%s (%s) is now %s, %s", r.Title, r.Name, wording.Tightening(f.Tightening), where), nil
}
