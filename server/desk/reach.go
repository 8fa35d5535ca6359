package desk

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"proofload/server/ask"
	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/change"
)

// Reach says whom publishing would concern, page by page; next is "" on the last. Of a
// published correction the first page is what was known when it was published, unless a
// size is asked for; the pages behind it hold what it left out.
func (d *Desk) Reach(ctx context.Context, id string, page ask.Page) (r *Reach, next string, err error) {
	size := maxReached
	if page.Size != 0 {
		if size, err = page.Limit(maxReached); err != nil {
			return nil, "", err
		}
	}
	query := "reach " + id
	first := 0
	if page.Token != "" {
		cur, err := d.pages.Cursor(query, page.Token)
		if err != nil {
			return nil, "", err
		}
		if first, err = strconv.Atoi(cur.After); err != nil || first < 0 {
			return nil, "", ask.Foreign()
		}
	}
	c, err := d.Get(ctx, id)
	if err != nil {
		return nil, "", err
	}
	switch {
	case c.Reach != nil && page.Token == "" && page.Size == 0:
		r = c.Reach
	case c.Reach != nil: // as the library was when it was published
		r, err = d.reachAll(ctx, d.follower.At(ctx, c.Position-1), c)
	default:
		var now *snapshot.Snapshot
		if now, err = d.head(ctx); err == nil {
			r, err = d.reachAll(ctx, now, c)
		}
	}
	if err != nil {
		return nil, "", err
	}
	if c.Reach == nil || r != c.Reach {
		r.window(first, size)
	}
	if r.LeftOut != (LeftOut{}) {
		next = d.pages.Token(query, ask.Cursor{After: strconv.Itoa(first + size)})
	}
	return r, next, nil
}

// window cuts the lists to a page and counts what comes behind it.
func (r *Reach) window(first, size int) {
	r.Procedures = windowed(r.Procedures, first, size, &r.LeftOut.Procedures)
	r.Releases = windowed(r.Releases, first, size, &r.LeftOut.Releases)
	r.Sheets = windowed(r.Sheets, first, size, &r.LeftOut.Sheets)
	r.Readers = windowed(r.Readers, first, size, &r.LeftOut.Readers)
	r.Narrations = windowed(r.Narrations, first, size, &r.LeftOut.Narrations)
}

func windowed[T any](list []T, first, size int, behind *int) []T {
	list = list[min(first, len(list)):]
	*behind = max(0, len(list)-size)
	return list[:min(len(list), size)]
}

// publication is what publishing a correction publishes.
func (d *Desk) publication(c *Correction, reviewer string) *store.Publication {
	p := &store.Publication{Authors: c.Authors, Reviewer: reviewer, Reason: c.Reason, Time: d.now().UTC(), Key: publicationKey + c.ID}
	for _, x := range c.Drafts {
		p.Changes = append(p.Changes, store.Change{Name: x.Name, Base: x.Base, Document: x.Document})
	}
	return p
}

// maxFollowed bounds how many records are followed upwards to the procedures that
// use a changed one: a change of a vehicle reaches everything on it. maxReached
// bounds each list.
const (
	maxFollowed = 20_000
	maxReached  = 1000
)

// reach works out what rests on the present state of the records that a correction
// changes, as much as is kept with it.
func (d *Desk) reach(ctx context.Context, now *snapshot.Snapshot, c *Correction) (*Reach, error) {
	r, err := d.reachAll(ctx, now, c)
	if err == nil {
		r.window(0, maxReached)
	}
	return r, err
}

// reachAll works out all that rests on the state of the records that a correction
// changes. A new record has no state that anything could rest on.
func (d *Desk) reachAll(ctx context.Context, now *snapshot.Snapshot, c *Correction) (*Reach, error) {
	if d.reads != nil {
		d.reads.Flush(ctx) // what this server still holds; others write within seconds
	}
	r := &Reach{}
	old := map[specdata.Name]*store.Revision{}
	var moves []*change.Record
	for _, x := range c.Drafts {
		rec, err := now.Record(x.Name)
		if err != nil {
			return nil, err
		}
		if rec == nil || rec.Revision.Withdrawn {
			continue
		}
		next := change.State{Document: x.Document}
		if x.Document == nil {
			next = change.State{Document: rec.Revision.Document, Withdrawn: true}
		}
		m, err := change.Of(x.Name, change.State{Document: rec.Revision.Document}, next)
		if err != nil {
			return nil, err
		}
		if m != nil {
			old[x.Name] = rec.Revision
			moves = append(moves, m)
		}
	}
	r.Records = rank(moves)
	var names []specdata.Name
	for _, m := range r.Records { // the most urgent first, also where a list is full
		names = append(names, m.Name)
	}
	r.Procedures = proceduresOf(now, names)
	if err := now.Err(); err != nil {
		return nil, err
	}
	var err error
	if r.Releases, err = d.releasesOf(ctx, names); err != nil {
		return nil, err
	}
	if r.Sheets, err = d.sheetsOf(ctx, names, old); err != nil {
		return nil, err
	}
	if r.Narrations, err = d.narrationsOf(ctx, names, old); err != nil {
		return nil, err
	}
	if r.Readers, err = d.readersOf(ctx, names, r.Procedures, old); err != nil {
		return nil, err
	}
	return r, nil
}

// rank puts moved records in order of urgency: those that can hurt someone first,
// then those withdrawn, then by how far a torque moved, up before down by as much:
// what was made to the old value is loose then, and comes off on the road.
func rank(moves []*change.Record) []Moved {
	slices.SortFunc(moves, func(a, b *change.Record) int {
		return cmp.Or(
			compareBool(a.Safety == "", b.Safety == ""),
			compareBool(a.How != change.Withdrawn, b.How != change.Withdrawn),
			cmp.Compare(math.Abs(b.Furthest()), math.Abs(a.Furthest())),
			cmp.Compare(b.Furthest(), a.Furthest()),
			change.Compare(a, b),
		)
	})
	var out []Moved
	for i, m := range moves {
		out = append(out, Moved{Name: m.Name, Rank: i + 1, Why: why(m), Safety: m.Safety, Change: m.Furthest()})
	}
	return out
}

// why says in shop words what moved and what that means for work that is done.
func why(m *change.Record) string {
	var words []string
	switch {
	case m.How == change.Withdrawn:
		words = append(words, "withdrawn: what it says no longer holds")
	case len(m.Moves) > 0:
		for i := range m.Moves {
			words = append(words, m.Moves[i].String())
		}
		switch f := m.Furthest(); {
		case f > 0:
			words = append(words, "joints made to the old value may be loose")
		case f < 0:
			words = append(words, "joints made to the old value may be overtightened")
		}
	default:
		words = append(words, "changed: "+fields(m.Fields))
	}
	if m.Safety != "" {
		words = append(words, "safety: "+m.Safety)
	}
	return strings.Join(words, "; ")
}

// fields names the parts of a record that changed, in the words of the document.
func fields(fs []change.Field) string {
	const most = 5
	var words []string
	for _, f := range fs {
		part, _, _ := strings.Cut(strings.TrimPrefix(f.Pointer, "/"), "/")
		if part = strings.ReplaceAll(part, "_", " "); !slices.Contains(words, part) {
			words = append(words, part)
		}
	}
	if n := len(words) - most; n > 0 {
		words = append(words[:most], fmt.Sprintf("%d more", n))
	}
	return strings.Join(words, ", ")
}

// proceduresOf follows the users of records upwards, through others, to procedures.
func proceduresOf(now *snapshot.Snapshot, names []specdata.Name) []ReachedProcedure {
	uses := map[specdata.Name][]specdata.Name{}
	followed := 0
	for _, changed := range names {
		seen := map[specdata.Name]bool{}
		queue := []specdata.Name{changed}
		for len(queue) > 0 && followed < maxFollowed {
			n := queue[0]
			queue = queue[1:]
			if seen[n] {
				continue
			}
			seen[n] = true
			followed++
			if n.Kind() == specdata.KindProcedure {
				uses[n] = append(uses[n], changed)
			}
			queue = append(queue, now.Uses(n)...)
		}
	}
	var out []ReachedProcedure
	for n, changed := range uses {
		if e := now.Get(n); e != nil {
			out = append(out, ReachedProcedure{Name: n, Title: e.Record.Header().Title, Uses: changed})
		}
	}
	slices.SortFunc(out, func(a, b ReachedProcedure) int {
		return cmp.Or(cmp.Compare(slices.Index(names, a.Uses[0]), slices.Index(names, b.Uses[0])), cmp.Compare(a.Name, b.Name))
	})
	return out
}

// releasesOf returns the releases in which one of the records was in force.
func (d *Desk) releasesOf(ctx context.Context, names []specdata.Name) ([]string, error) {
	releases, err := d.follower.Store.Releases(ctx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, rel := range slices.Backward(releases) {
		s := d.follower.At(ctx, rel.Position)
		for _, n := range names {
			rec, err := s.Record(n)
			if err != nil {
				return nil, err
			}
			if rec != nil && !rec.Revision.Withdrawn {
				out = append(out, rel.Name)
				break
			}
		}
	}
	return out, nil
}
