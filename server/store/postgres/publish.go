package postgres

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"proofload/server/store"
	"proofload/server/store/index"
)

// content is a document with what follows from it.
type content struct {
	document, hash []byte
	facts          *index.Facts
}

func contentOf(c store.Change) (content, error) {
	facts, err := index.Of(c.Name, c.Document)
	sum := sha256.Sum256(c.Document)
	return content{c.Document, sum[:], facts}, err
}

// publication is the job of Publish. contents are those of its changes, but for
// withdrawals.
type publication struct {
	store.Publication
	contents []content
}

// Publish implements store.Store.
func (s *Store) Publish(ctx context.Context, p store.Publication) (int64, error) {
	if err := s.usable(ctx); err != nil {
		return 0, err
	}
	if err := p.Validate(); err != nil {
		return 0, err
	}
	j := &publication{p, make([]content, len(p.Changes))}
	for i, c := range p.Changes {
		if i%256 == 255 && ctx.Err() != nil {
			return 0, ctx.Err()
		}
		if c.Document == nil {
			continue
		}
		var err error
		if j.contents[i], err = contentOf(c); err != nil {
			return 0, err
		}
	}
	return s.do(ctx, j)
}

func (j *publication) size() int { return len(j.Changes) }

func (j *publication) wants(w *wants) {
	for _, c := range j.Changes {
		w.names = append(w.names, string(c.Name))
		if c.Document == nil {
			w.withdrawn = append(w.withdrawn, string(c.Name))
		}
	}
	if j.Key != "" {
		w.keys = append(w.keys, []byte(j.Key))
	}
}

func (j *publication) settle(ctx context.Context, p *plan) (int64, error) {
	if k := p.keys[j.Key]; k != nil && j.Key != "" {
		return j.again(k)
	}
	contents := make([]content, len(j.Changes))
	for i, c := range j.Changes {
		var err error
		if contents[i], err = p.settle(c, j.contents[i]); err != nil {
			return 0, err
		}
	}
	head := store.Head{Position: p.head.Position + 1, Revisions: p.head.Revisions + int64(len(contents)), Time: j.Time.UTC().Round(0)}
	if p.head.Position > 0 && head.Time.Before(p.head.Time) {
		head.Time = p.head.Time
	}
	var notes []noteDraft
	if j.Notes != nil {
		writes, err := j.Notes(head.Position, head.Time)
		if err == nil {
			err = store.ValidateNotes(writes)
		}
		if err == nil {
			notes, err = p.settleNotes(ctx, writes)
		}
		if err != nil {
			return 0, err
		}
	}
	if err := p.publish(j.Publication, head, contents); err != nil {
		return 0, err
	}
	p.addNotes(notes)
	return head.Position, nil
}

// again gives the position of an earlier publication under the same key, or fails
// where that one made other changes.
func (j *publication) again(k *keyed) (int64, error) {
	same := len(k.changes) == len(j.Changes)
	for i := 0; same && i < len(k.changes); i++ {
		had, c := &k.changes[i], &j.Changes[i]
		same = had.name == c.Name && had.number == c.Base+1 && had.withdrawn == (c.Document == nil) && (had.withdrawn || bytes.Equal(had.hash[:], j.contents[i].hash))
	}
	if !same {
		return 0, fmt.Errorf("publication key %q: %w: it was used for other changes at position %d; give each publication a key of its own", j.Key, store.ErrConflict, k.position)
	}
	return k.position, nil
}

// settle refuses a change that does not fit its record, and gives its content, which
// for a withdrawal is that of the revision it withdraws.
func (p *plan) settle(c store.Change, fresh content) (content, error) {
	before := p.records[c.Name]
	current := int64(0)
	if before != nil {
		current = before.number
	}
	switch {
	case c.Base != current:
		return content{}, &store.Conflict{Name: c.Name, Base: c.Base, Current: current}
	case c.Document != nil:
		return fresh, nil
	case before == nil:
		return content{}, fmt.Errorf("record %s: %w: there is nothing to withdraw", c.Name, store.ErrNotFound)
	case before.withdrawn:
		return content{}, fmt.Errorf("record %s: %w: revision %d withdrew it already", c.Name, store.ErrNotFound, current)
	}
	repeated, err := contentOf(store.Change{Name: c.Name, Document: before.document})
	if !bytes.Equal(repeated.hash, before.hash) {
		return content{}, damaged(c.Name, current)
	}
	return repeated, err
}

// release is the job of SetRelease.
type release struct{ store.Release }

// SetRelease implements store.Store.
func (s *Store) SetRelease(ctx context.Context, r store.Release) error {
	if err := s.usable(ctx); err != nil {
		return err
	}
	if err := r.Validate(); err != nil {
		return err
	}
	_, err := s.do(ctx, release{r})
	return err
}

func (j release) size() int { return 1 }

func (j release) wants(w *wants) { w.releases = append(w.releases, j.Name) }

func (j release) settle(_ context.Context, p *plan) (int64, error) {
	at, taken := p.releases[j.Name]
	switch {
	case j.Position > p.head.Position:
		return 0, future(j.Position, p.head.Position)
	case taken && at != j.Position:
		return 0, fmt.Errorf("release %s: %w: it names position %d and cannot name %d as well; choose another name", j.Name, store.ErrConflict, at, j.Position)
	case !taken:
		p.releases[j.Name] = j.Position
		p.named = append(p.named, j.Release)
	}
	return j.Position, nil
}

// Releases implements store.Store.
func (s *Store) Releases(ctx context.Context) (rs []store.Release, err error) {
	err = s.read(ctx, func(ctx context.Context, q querier) error {
		rs = []store.Release{}
		rows, err := q.Query(ctx, `SELECT name, position, note, made_by, time FROM release ORDER BY position, name COLLATE "C"`)
		if err != nil {
			return err
		}
		var r store.Release
		var nanos int64
		_, err = pgx.ForEachRow(rows, []any{&r.Name, &r.Position, &r.Note, &r.By, &nanos}, func() error {
			r.Time = time.Unix(0, nanos).UTC()
			rs = append(rs, r)
			return nil
		})
		return err
	})
	return rs, err
}
