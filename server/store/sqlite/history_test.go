package sqlite

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// history is what a test writes. Publication n changes two of a few records, whose
// documents and reason carry n, and writes a note that carries n as well; write m of
// notes alone puts m into a shared note and one of its own. So each can be told, and
// is found whole or not at all.
type history struct {
	t       testing.TB
	numbers map[specdata.Name]int64
	// tried are by n, from 1; writes counts those of notes that were tried.
	tried  []store.Publication
	writes int
	acks
	// bare says that publications have no notes.
	bare bool
}

// acks are what was acknowledged: publications by n with their positions, writes by m.
type acks struct {
	published map[int]int64
	written   map[int]bool
}

func newAcks() acks { return acks{map[int]int64{}, map[int]bool{}} }

func newHistory(t testing.TB) *history {
	return &history{t: t, numbers: map[specdata.Name]int64{}, acks: newAcks()}
}

const historyRecords = 7

func (h *history) next() store.Publication {
	n := len(h.tried) + 1
	var changes []store.Change
	for _, r := range []specdata.Record{storetest.Bolt(n%historyRecords, n), storetest.Bolt(100+n%(historyRecords-1), n)} {
		changes = append(changes, storetest.Put(h.t, r, h.numbers[r.Name()]))
	}
	p := storetest.Publication(n, changes...)
	p.Key = fmt.Sprint("history-", n)
	if !h.bare {
		p.Notes = func(position int64, made time.Time) ([]store.NoteWrite, error) {
			return []store.NoteWrite{historyNote("published", n, fmt.Sprint(n, " at ", position))}, nil
		}
	}
	h.tried = append(h.tried, p)
	return p
}

func historyNote(space string, n int, body string) store.NoteWrite {
	return store.NoteWrite{Space: space, Key: fmt.Sprint(n), Terms: []string{"all", fmt.Sprint("by-", n%3)}, Body: []byte(body), Time: storetest.Epoch}
}

// publish tries the next publication and notes how it went.
func (h *history) publish(ctx context.Context, s *Store) error {
	p := h.next()
	at, err := s.Publish(ctx, p)
	if err == nil {
		h.published[len(h.tried)] = at
		for _, c := range p.Changes {
			h.numbers[c.Name]++
		}
	}
	return err
}

// write tries the next write of notes and notes how it went.
func (h *history) write(ctx context.Context, s *Store) error {
	h.writes++
	shared := historyNote("shared", 0, fmt.Sprint(h.writes))
	shared.Base = store.AnyVersion
	err := s.WriteNotes(ctx, []store.NoteWrite{shared, historyNote("written", h.writes, fmt.Sprint(h.writes))})
	if err == nil {
		h.written[h.writes] = true
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
func (h *history) verify(ctx context.Context, s *Store, acknowledged acks) error {
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
			if r := pair[i]; r.Name != c.Name || r.Number != c.Base+1 || string(r.Document) != string(c.Document) || r.Position != int64(len(there)+1) || r.Key != h.tried[n-1].Key {
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
	for n, at := range acknowledged.published {
		if there[n] != at {
			lost = append(lost, fmt.Sprint(n))
		}
	}
	if err := h.verifyNotes(ctx, s, there, acknowledged, &lost); err != nil {
		return err
	}
	if len(lost) > 0 {
		slices.Sort(lost)
		return fmt.Errorf("acknowledged and lost: publications and writes %s", strings.Join(lost, ", "))
	}
	return s.Check(ctx)
}

// verifyNotes is the part of verify for notes; it adds writes that were lost.
func (h *history) verifyNotes(ctx context.Context, s *Store, there map[int]int64, acknowledged acks, lost *[]string) error {
	published, err := readNotes(ctx, s, "published")
	if err != nil {
		return err
	}
	for n, at := range there {
		if h.bare {
			break
		}
		if want := fmt.Sprint(n, " at ", at); published[fmt.Sprint(n)] != want {
			return fmt.Errorf("publication %d has the note %q, want %q", n, published[fmt.Sprint(n)], want)
		}
	}
	if !h.bare && len(published) != len(there) {
		return fmt.Errorf("%d publications have %d notes", len(there), len(published))
	}
	written, err := readNotes(ctx, s, "written")
	if err != nil {
		return err
	}
	last := 0
	for key, body := range written {
		m, err := strconv.Atoi(key)
		if err != nil || m < 1 || m > h.writes || body != key {
			return fmt.Errorf("note %s says %q, which was never tried", key, body)
		}
		last = max(last, m)
	}
	shared, err := readNotes(ctx, s, "shared")
	if err != nil {
		return err
	}
	if said := shared["0"]; last == 0 && len(shared) > 0 || last > 0 && said != fmt.Sprint(last) {
		return fmt.Errorf("the shared note says %q, the last write of its own is %d", said, last)
	}
	for m := range acknowledged.written {
		if written[fmt.Sprint(m)] == "" {
			*lost = append(*lost, fmt.Sprint("w", m))
		}
	}
	return nil
}

// readNotes returns the bodies of a space by key, and fails where listing by a term
// gives something else.
func readNotes(ctx context.Context, s *Store, space string) (map[string]string, error) {
	found := [2]map[string]string{{}, {}}
	for i, term := range []string{"", "all"} {
		q := store.NoteQuery{Space: space, Term: term, Limit: 100}
		for {
			ns, err := s.ListNotes(ctx, q)
			if err != nil {
				return nil, err
			}
			for _, n := range ns {
				found[i][n.Key] = string(n.Body)
				q.After = n.Key
			}
			if len(ns) < q.Limit {
				break
			}
		}
	}
	if !maps.Equal(found[0], found[1]) {
		return nil, fmt.Errorf("space %s has %d notes, %d listed by their term", space, len(found[0]), len(found[1]))
	}
	return found[0], nil
}
