package postgres

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"proofload/server/store"
	"proofload/server/store/rule"
)

// publication is the job of Publish. contents are those of its changes, but for
// withdrawals.
type publication struct {
	store.Publication
	contents []rule.Content
}

// Publish implements store.Store.
func (s *Store) Publish(ctx context.Context, p store.Publication) (int64, error) {
	if err := s.usable(ctx); err != nil {
		return 0, err
	}
	if err := p.Validate(); err != nil {
		return 0, err
	}
	j := &publication{p, make([]rule.Content, len(p.Changes))}
	for i, c := range p.Changes {
		if i%256 == 255 && ctx.Err() != nil {
			return 0, ctx.Err()
		}
		if c.Document == nil {
			continue
		}
		var err error
		if j.contents[i], err = rule.Read(c.Name, c.Document); err != nil {
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
		return k.position, rule.Again(j.Publication, j.contents, k.position, k.changes)
	}
	contents := slices.Clone(j.contents)
	for i, c := range j.Changes {
		if err := p.settle(c, &contents[i]); err != nil {
			return 0, err
		}
	}
	head := rule.Head(p.head, j.Publication, len(contents))
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

// settle asks whether a change may follow the newest revision of its record. It reads
// the content that a withdrawal repeats.
func (p *plan) settle(c store.Change, content *rule.Content) error {
	var newest *rule.Newest
	before := p.records[c.Name]
	if before != nil {
		newest = &before.Newest
	}
	err := rule.Change(c, newest)
	if err == nil && c.Document == nil {
		*content, err = rule.Repeat(c.Name, before.Number, before.document, before.hash)
	}
	return err
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
	fresh, err := rule.Release(j.Release, p.head.Position, p.releases[j.Name])
	if err != nil {
		return 0, err
	}
	if fresh {
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
