package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// step is what one try at a request came to.
type step struct {
	c *Correction
	// same says that the correction stays as it is; the answer alone is kept.
	same bool
	// publication, where there is one, is published with the correction, and must
	// become the position that follows the one it was worked out at.
	publication *store.Publication
	follows     int64
}

// maxTries bounds how often a request is worked out again because others wrote in
// between; each time, one of them got on.
const maxTries = 50

var errPassed = errors.New("another publication came first")

// do carries out a request. A request id that was used before gives the answer of
// then. Where others wrote in between, it is worked out again on what they left.
func (d *Desk) do(ctx context.Context, a Actor, requestID string, r request, try func() (*step, error)) (*Correction, error) {
	key, err := answerKey(a, requestID)
	if err != nil {
		return nil, err
	}
	hash, err := r.hash()
	if err != nil {
		return nil, err
	}
	for range maxTries {
		if key != "" {
			if c, err := d.answered(ctx, key, hash); c != nil || err != nil {
				return c, err
			}
		}
		s, err := try()
		if err != nil {
			return nil, err
		}
		c, err := d.commit(ctx, s, key, hash)
		var record *store.Conflict
		var note *store.NoteConflict
		switch {
		case err == nil:
			if key != "" {
				d.sweep(ctx)
			}
			return c, nil
		case errors.Is(err, errPassed), errors.As(err, &record), errors.As(err, &note):
			continue
		}
		return nil, err
	}
	e := fault.New(fault.CorrectionMoved, "correction changed, or others published, %d times while the request was worked on; try again", maxTries)
	e.RetryAfter = time.Second
	return nil, e
}

// commit stores what a step came to and returns it as it is stored, so that the first
// answer and every repeated one are the same to the last byte.
func (d *Desk) commit(ctx context.Context, s *step, key, hash string) (*Correction, error) {
	var stored *Correction
	writes := func(c *Correction) (ws []store.NoteWrite, err error) {
		w, err := c.written()
		if err != nil {
			return nil, err
		}
		version := c.Version
		if !s.same {
			version++
			ws = append(ws, w)
		}
		if stored, err = decode(w.Body, version); err != nil {
			return nil, err
		}
		if key != "" {
			body, err := json.Marshal(answer{Request: hash, Version: version, Correction: w.Body})
			if err != nil {
				return nil, err
			}
			ws = append(ws, store.NoteWrite{Space: spaceAnswers, Key: key, Body: body, Time: d.now().UTC()})
		}
		return ws, nil
	}
	if s.publication == nil {
		ws, err := writes(s.c)
		if err == nil && len(ws) > 0 {
			err = d.follower.Store.WriteNotes(ctx, ws)
		}
		return stored, err
	}
	p := *s.publication
	p.Notes = func(position int64, published time.Time) ([]store.NoteWrite, error) {
		if position != s.follows+1 {
			return nil, errPassed
		}
		c := *s.c
		end := *c.End
		end.Time = published.UTC()
		c.Position, c.Updated, c.End = position, published.UTC(), &end
		return writes(&c)
	}
	if _, err := d.follower.Store.Publish(ctx, p); err != nil {
		return nil, fmt.Errorf("correction %s: %w", s.c.ID, err)
	}
	// Where another server published it under the same key, the store says yes again,
	// but what stands is what that one wrote.
	now, err := d.Get(ctx, s.c.ID)
	if err != nil {
		return nil, err
	}
	if stored == nil || !reflect.DeepEqual(now, stored) {
		return nil, errPassed
	}
	return stored, nil
}
