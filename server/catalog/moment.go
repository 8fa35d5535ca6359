package catalog

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

// Moment says for when a read answers: the newest position, or a named one.
type Moment struct {
	At store.At
	// Min is a position the answer must include.
	Min int64
}

// ParseMoment reads the at and min_position of a request.
func ParseMoment(at string, minPosition int64) (Moment, error) {
	m := Moment{Min: minPosition}
	if minPosition < 0 {
		return m, fault.Field("min_position", "min_position %d is negative; give a position from proofload-position, or leave it out", minPosition)
	}
	if at == "" {
		return m, nil
	}
	how, what, _ := strings.Cut(at, ":")
	switch how {
	case "position":
		n, err := strconv.ParseInt(what, 10, 64)
		if err != nil || n < 1 || strconv.FormatInt(n, 10) != what {
			return m, fault.Field("at", "at %q names no position; positions count from 1, like position:12", clip(at))
		}
		m.At.Position = n
	case "time":
		t, err := time.Parse(time.RFC3339Nano, what)
		if err != nil {
			return m, fault.Field("at", "at %q names no time; write it like time:2026-09-14T08:00:00Z", clip(at))
		}
		m.At.Time = t
	case "release":
		if what == "" || len(what) > 100 {
			return m, fault.Field("at", "at %q names no release; write it like release:2026-10", clip(at))
		}
		m.At.Release = what
	default:
		return m, fault.Field("at", "at %q is not a moment; allowed: position:N, time:RFC3339, release:NAME", clip(at))
	}
	return m, nil
}

// waitForMin is the longest a read waits for a position that is on its way here
// from another node.
const waitForMin = time.Second

// Position resolves a moment.
func (c *Catalog) Position(ctx context.Context, m Moment) (int64, error) {
	head, err := c.Shelf.Head(ctx)
	if err != nil {
		return 0, err
	}
	if head < m.Min {
		if head, err = c.await(ctx, m.Min, head); err != nil {
			return 0, err
		}
	}
	if m.At == (store.At{}) {
		return head, nil
	}
	position, err := c.Shelf.Store.Resolve(ctx, m.At)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return 0, fault.New(fault.MomentNotFound, "there is no moment %s; allowed: a release of the library, or a time after its first publication", m).With("at", m.String()).Because(err)
	case errors.Is(err, store.ErrFuture):
		return 0, fault.New(fault.PositionNotPublished, "position %d is not yet published; the newest is %d", m.At.Position, head).
			With("at", m.String()).With("newest", fmt.Sprint(head)).Because(err)
	case errors.Is(err, store.ErrInvalid):
		return 0, fault.Field("at", "at %s is not a moment of this library: %v", m, err)
	case err != nil:
		return 0, err
	}
	if position < m.Min {
		return 0, fault.Field("min_position", "min_position %d is after the moment asked for, position %d; leave one of them out", m.Min, position)
	}
	return position, nil
}

// String gives the moment as a request writes it.
func (m Moment) String() string {
	switch {
	case m.At.Position != 0:
		return fmt.Sprintf("position:%d", m.At.Position)
	case !m.At.Time.IsZero():
		return "time:" + m.At.Time.Format(time.RFC3339Nano)
	case m.At.Release != "":
		return "release:" + m.At.Release
	}
	return "now"
}

func (c *Catalog) await(ctx context.Context, position, newest int64) (int64, error) {
	ctx, cancel := context.WithTimeout(ctx, waitForMin)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		head, err := c.Shelf.Head(ctx)
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

// ParseName checks a record name of a request, and its collection where only one
// kind will do ("" for any).
func ParseName(field, name string, kind specdata.Kind) (specdata.Name, error) {
	n, err := specdata.ParseName(name)
	if err != nil {
		return "", fault.Field(field, "%v", err)
	}
	if kind != "" && n.Kind() != kind {
		return "", fault.Field(field, "%s %q is no %s; write %s/<id>", field, name, kind, kind.Collection())
	}
	return n, nil
}

func clip(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}
