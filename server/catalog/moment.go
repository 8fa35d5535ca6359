package catalog

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/store"
)

// waitForMin is the longest a read waits for a position that is on its way here
// from another node.
const waitForMin = time.Second

// Position resolves a moment.
func (c *Catalog) Position(ctx context.Context, m ask.Moment) (int64, error) {
	head, err := c.Follower.Head(ctx)
	if err != nil {
		return 0, err
	}
	if head < m.Least {
		if head, err = c.await(ctx, m.Least, head); err != nil {
			return 0, err
		}
	}
	if m.At.Head() {
		return head, nil
	}
	position, err := c.Follower.Store.Resolve(ctx, m.At)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return 0, fault.New(fault.MomentNotFound, "there is no moment %s; allowed: a release of the library, or a time after its first publication", m).With("at", m.String()).Because(err)
	case errors.Is(err, store.ErrFuture):
		return 0, fault.New(fault.PositionNotPublished, "%s is not yet published; the newest is %d", strings.Replace(m.String(), ":", " ", 1), head).
			With("at", m.String()).With("newest", fmt.Sprint(head)).Because(err)
	case errors.Is(err, store.ErrInvalid):
		return 0, fault.Field("at", "at %s is not a moment of this library: %v", m, err)
	}
	return position, err
}

func (c *Catalog) await(ctx context.Context, position, newest int64) (int64, error) {
	ctx, cancel := context.WithTimeout(ctx, waitForMin)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		head, err := c.Follower.Head(ctx)
		if err != nil && ctx.Err() == nil {
			return 0, err
		}
		if err == nil {
			if newest = head; newest >= position {
				return newest, nil
			}
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			e := fault.New(fault.PositionAhead, "position %d has not arrived here; the newest is %d", position, newest).
				With("position", fmt.Sprint(position)).With("newest", fmt.Sprint(newest))
			e.RetryAfter = time.Second
			return 0, e
		}
	}
}
