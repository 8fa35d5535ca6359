package catalog

import (
	"context"
	"fmt"
	"strconv"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/feed"
	"proofload/server/store"
)

// LogQuery says which revisions of the log are wanted.
type LogQuery struct {
	// After is the position behind which to begin.
	After  int64
	Filter feed.Filter
}

// LogPage is one page of the log.
type LogPage struct {
	// Revisions are in the order of the log, of whole publications unless one is
	// larger than the page.
	Revisions []*store.Revision
	Next      string
	// Reached is the position up to which everything wanted has been given; Position
	// the one that all pages go up to.
	Reached, Position int64
}

// The bounds of one page: how many revisions are read at once, and how many may be
// looked through for the few that a filter wants.
const (
	logStep = 500
	maxScan = 20_000
)

// Log returns one page of what was published after a position and up to a moment.
func (c *Catalog) Log(ctx context.Context, q LogQuery, p ask.Page, m ask.Moment) (*LogPage, error) {
	size, err := p.Limit(maxPage)
	if err != nil {
		return nil, err
	}
	query := fmt.Sprintf("log %d %s %s", q.After, q.Filter, m)
	cur, err := c.start(ctx, query, p, m)
	if err != nil {
		return nil, err
	}
	end, err := c.Follower.Store.HeadAt(ctx, cur.Position)
	if err != nil {
		return nil, err
	}
	from, err := c.logCursor(ctx, q.After, cur, end)
	if err != nil {
		return nil, err
	}
	page := &LogPage{Position: cur.Position}
	from, err = c.fillLog(ctx, page, q.Filter, from, end, size)
	if err != nil {
		return nil, err
	}
	if page.Reached = from.Position; from.Position < end.Position {
		inside := 0
		if from.Inside {
			inside = 1
		}
		page.Next = c.Pages.Token(query, ask.Cursor{Position: cur.Position, After: fmt.Sprintf("%d.%d.%d", from.Position, from.Leaf, inside)})
	}
	return page, nil
}

// logCursor returns where a page of the log begins.
func (c *Catalog) logCursor(ctx context.Context, after int64, cur ask.Cursor, end store.Head) (feed.Cursor, error) {
	if cur.After != "" {
		var from feed.Cursor
		inside := 0
		// What does not scan or is not in the log was written by another edition.
		n, err := fmt.Sscanf(cur.After, "%d.%d.%d", &from.Position, &from.Leaf, &inside)
		if n != 3 || err != nil || from.Position < 0 || from.Position > end.Position || from.Leaf < 0 || from.Leaf > end.Revisions {
			return from, ask.Foreign()
		}
		from.Inside = inside == 1
		return from, nil
	}
	switch {
	case after < 0:
		return feed.Cursor{}, fault.Field("after", "after %d is no position; positions count from 1, 0 is before the first", after)
	case after > cur.Position:
		head, err := c.Follower.Head(ctx)
		if err != nil {
			return feed.Cursor{}, err
		}
		if after <= head {
			return feed.Cursor{}, fault.Field("after", "after %d is behind the moment that at names, position %d; leave one of them out", after, cur.Position)
		}
		return feed.Cursor{}, fault.New(fault.PositionNotPublished, "position %d is not yet published; the newest is %d, begin there or earlier", after, head).
			With("after", strconv.FormatInt(after, 10)).With("newest", strconv.FormatInt(head, 10))
	}
	return feed.CursorAt(ctx, c.Follower.Store, after)
}

// fillLog reads on until the page is full, the log ends or enough was looked
// through, and returns the cursor behind what it took.
func (c *Catalog) fillLog(ctx context.Context, page *LogPage, f feed.Filter, at feed.Cursor, end store.Head, size int) (feed.Cursor, error) {
	// whole is the end of the last publication that is in the page with all of it.
	whole, kept, bytes := at, 0, 0
	for scanned := 0; at.Position < end.Position && scanned < maxScan; {
		revs, behind, err := feed.ReadLog(ctx, c.Follower.Store, at, end, logStep)
		if err != nil {
			return at, err
		}
		scanned += len(revs)
		for i, r := range revs {
			wanted, err := f.Wants(ctx, c.Follower.Store, r)
			if err != nil {
				return at, err
			}
			if full := len(page.Revisions) >= size || bytes >= pageBytes; wanted && full {
				if kept > 0 {
					page.Revisions = page.Revisions[:kept]
					return whole, nil
				}
				return at, nil // inside a publication that is larger than a page
			}
			if wanted {
				page.Revisions = append(page.Revisions, r)
				bytes += len(r.Document)
			}
			at = feed.Cursor{Position: r.Position, Leaf: r.Leaf + 1}
			if last := i == len(revs)-1; last && behind.Inside || !last && revs[i+1].Position == r.Position {
				at.Position, at.Inside = r.Position-1, true
				continue
			}
			whole, kept = at, len(page.Revisions)
		}
	}
	return at, nil
}
