package sqlite

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"proofload/server/store"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// history is what a test publishes: publication n changes two of a few records, whose
// documents and reason carry n, so that each can be told and is found whole or not
// at all.
type history struct {
	t       testing.TB
	numbers map[specdata.Name]int64
	// tried and acknowledged are by n, from 1.
	tried        []store.Publication
	acknowledged map[int]int64 // position
}

func newHistory(t testing.TB) *history {
	return &history{t: t, numbers: map[specdata.Name]int64{}, acknowledged: map[int]int64{}}
}

const historyRecords = 7

func (h *history) next() store.Publication {
	n := len(h.tried) + 1
	var changes []store.Change
	for _, r := range []specdata.Record{storetest.Bolt(n%historyRecords, n), storetest.Bolt(100+n%(historyRecords-1), n)} {
		changes = append(changes, storetest.Put(h.t, r, h.numbers[r.Name()]))
	}
	p := storetest.Publication(n, changes...)
	h.tried = append(h.tried, p)
	return p
}

// publish tries the next publication and notes how it went.
func (h *history) publish(ctx context.Context, s *Store) error {
	p := h.next()
	at, err := s.Publish(ctx, p)
	if err == nil {
		h.acknowledged[len(h.tried)] = at
		for _, c := range p.Changes {
			h.numbers[c.Name]++
		}
	}
	return err
}

// learn takes the revision numbers from the store, after a publication of unknown outcome.
func (h *history) learn(ctx context.Context, s *Store) error {
	clear(h.numbers)
	head, err := s.Head(ctx)
	if err != nil {
		return err
	}
	rs, err := s.List(ctx, store.Query{Kind: specdata.KindFastener, Limit: store.MaxLimit}, head.Position)
	for _, r := range rs {
		h.numbers[r.Name] = r.Number
	}
	return err
}

// verify checks a store against the history: what was acknowledged is there, under its
// position; all that is there was tried, is whole and in order; and the store finds
// itself sound.
func (h *history) verify(ctx context.Context, s *Store, acknowledged map[int]int64) error {
	head, err := s.Head(ctx)
	if err != nil {
		return err
	}
	var rs []*store.Revision
	for after := int64(0); after < head.Position; {
		page, err := s.Log(ctx, after, head.Position, store.MaxLimit)
		if err != nil {
			return err
		}
		rs = append(rs, page...)
		after = page[len(page)-1].Position
	}
	if int64(len(rs)) != 2*head.Position || head.Revisions != 2*head.Position {
		return fmt.Errorf("%d positions of two revisions each have %d; the head says %d", head.Position, len(rs), head.Revisions)
	}
	there := map[int]int64{}
	last := 0
	for pair := range slices.Chunk(rs, 2) {
		n := 0
		if _, err := fmt.Sscanf(pair[0].Reason, "publication %d", &n); err != nil || n < 1 || n > len(h.tried) {
			return fmt.Errorf("position %d holds %q, which was never tried", pair[0].Position, pair[0].Reason)
		}
		for i, c := range h.tried[n-1].Changes {
			if r := pair[i]; r.Name != c.Name || r.Number != c.Base+1 || string(r.Document) != string(c.Document) || r.Position != int64(len(there)+1) {
				return fmt.Errorf("position %d holds revision %d of %s, which is not what publication %d tried there", r.Position, r.Number, r.Name, n)
			}
		}
		if n <= last {
			return fmt.Errorf("publication %d stands behind %d", n, last)
		}
		last = n
		there[n] = pair[0].Position
	}
	var lost []string
	for n, at := range acknowledged {
		if there[n] != at {
			lost = append(lost, fmt.Sprint(n))
		}
	}
	if len(lost) > 0 {
		slices.Sort(lost)
		return fmt.Errorf("acknowledged and lost: publications %s", strings.Join(lost, ", "))
	}
	return s.Check(ctx)
}
