package storetest

import (
	"context"
	"maps"
	"slices"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/document"
)

// What the suite publishes are documents as they are.
func TestDocuments(t *testing.T) {
	for _, r := range []specdata.Record{
		Bolt(1, 60), Fastener("a", "b", "c", "", specdata.JointClamp, 5, "", "quill-1"), vehicle("quill-1", "Quill", "One"), source("a", "b", "c", "d"), source("a", "b", "c"),
		assembly("a", "b", "c", "quill-1", "x"), assembly("a", "b", "c", "quill-1"), procedure("a", "b", "quill-1", "a", "x"), procedure("a", "b", "quill-1", "a"),
	} {
		if _, err := document.ReadCanonical(Canonical(t, r)); err != nil {
			t.Errorf("%s: %v", r.Name(), err)
		}
	}
	rapid.Check(t, func(r *rapid.T) {
		record := record(r, pick(r, drawnNames, "name"))
		if _, err := document.ReadCanonical(Canonical(t, record)); err != nil {
			r.Fatalf("%s: %v", record.Name(), err)
		}
	})
}

// The suite holds the model it compares with to the contract as well, so that a
// sentence that nothing can keep shows.
func TestReference(t *testing.T) {
	Run(t, func(*testing.T) store.Store { return newPlain() })
}

// The check of histories is worth something only if it finds the faults it is for.
func TestLinearizableCatches(t *testing.T) {
	for _, fault := range slices.Sorted(maps.Keys(Mutants)) {
		s := Mutants[fault](newPlain())
		history, err := Drive(Load{Clients: 6, Objects: 2, Operations: 1000, Seed: 1}, func(a Act) (Seen, error) { return Perform(t.Context(), s, a) })
		if err != nil {
			t.Fatal(err)
		}
		if Linearizable(history) == nil {
			t.Errorf("a store with the fault %s passes", fault)
		}
	}
}

// plain is the reference as a whole store.
type plain struct {
	mu  sync.Mutex
	ref *reference
	// moved is closed when something happens that somebody may wait for.
	moved  chan struct{}
	closed bool
}

func newPlain() *plain { return &plain{ref: newReference(), moved: make(chan struct{})} }

// wake is called with the lock held.
func (p *plain) wake() {
	close(p.moved)
	p.moved = make(chan struct{})
}

// enter begins a call; the caller unlocks.
func (p *plain) enter(ctx context.Context) error {
	p.mu.Lock()
	if p.closed {
		return store.ErrClosed
	}
	return ctx.Err()
}

func call[T any](ctx context.Context, p *plain, do func() (T, error)) (zero T, err error) {
	err = p.enter(ctx)
	defer p.mu.Unlock()
	if err != nil {
		return zero, err
	}
	return do()
}

func (p *plain) Publish(ctx context.Context, pub store.Publication) (int64, error) {
	return call(ctx, p, func() (int64, error) {
		defer p.wake()
		return p.ref.Publish(ctx, clonePublication(pub))
	})
}

func (p *plain) Head(ctx context.Context) (store.Head, error) {
	return call(ctx, p, func() (store.Head, error) { return p.ref.Head(ctx) })
}

func (p *plain) Resolve(ctx context.Context, at store.At) (int64, error) {
	return call(ctx, p, func() (int64, error) { return p.ref.Resolve(ctx, at) })
}

func (p *plain) Get(ctx context.Context, name specdata.Name, at int64) (*store.Revision, error) {
	return call(ctx, p, func() (*store.Revision, error) { return one(p.ref.Get(ctx, name, at)) })
}

func (p *plain) GetRevision(ctx context.Context, name specdata.Name, number int64) (*store.Revision, error) {
	return call(ctx, p, func() (*store.Revision, error) { return one(p.ref.GetRevision(ctx, name, number)) })
}

func (p *plain) Revisions(ctx context.Context, name specdata.Name, at, before int64, limit int) ([]*store.Revision, error) {
	return call(ctx, p, func() ([]*store.Revision, error) { return many(p.ref.Revisions(ctx, name, at, before, limit)) })
}

func (p *plain) List(ctx context.Context, q store.Query, at int64) ([]*store.Revision, error) {
	return call(ctx, p, func() ([]*store.Revision, error) { return many(p.ref.List(ctx, q, at)) })
}

func (p *plain) Uses(ctx context.Context, name specdata.Name, at int64) ([]specdata.Name, error) {
	return call(ctx, p, func() ([]specdata.Name, error) { return p.ref.Uses(ctx, name, at) })
}

func (p *plain) Search(ctx context.Context, words string, kind specdata.Kind, limit int) ([]store.Hit, error) {
	return call(ctx, p, func() ([]store.Hit, error) { return p.ref.Search(ctx, words, kind, limit) })
}

func (p *plain) Log(ctx context.Context, after, upTo int64, limit int) ([]*store.Revision, error) {
	return call(ctx, p, func() ([]*store.Revision, error) { return many(p.ref.Log(ctx, after, upTo, limit)) })
}

func (p *plain) SetRelease(ctx context.Context, r store.Release) error {
	_, err := call(ctx, p, func() (int, error) { return 0, p.ref.SetRelease(ctx, r) })
	return err
}

func (p *plain) Releases(ctx context.Context) ([]store.Release, error) {
	return call(ctx, p, func() ([]store.Release, error) { return p.ref.Releases(ctx) })
}

func (p *plain) Check(ctx context.Context) error {
	_, err := call(ctx, p, func() (int, error) { return 0, nil })
	return err
}

func (p *plain) Rebuild(ctx context.Context) error { return p.Check(ctx) }

func (p *plain) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	p.wake()
	return nil
}

func (p *plain) HeadAt(ctx context.Context, at int64) (store.Head, error) {
	return call(ctx, p, func() (store.Head, error) { return p.ref.HeadAt(ctx, at) })
}

func (p *plain) Await(ctx context.Context, at int64) (store.Head, error) {
	for {
		var moved chan struct{}
		head, err := call(ctx, p, func() (store.Head, error) {
			moved = p.moved
			if at < 0 {
				return store.Head{}, store.ErrInvalid
			}
			return p.ref.Head(ctx)
		})
		if err != nil || head.Position >= at {
			return head, err
		}
		select {
		case <-moved:
		case <-ctx.Done():
		}
	}
}

func (p *plain) Leaf(ctx context.Context, index int64) (*store.Revision, error) {
	return call(ctx, p, func() (*store.Revision, error) { return one(p.ref.Leaf(ctx, index)) })
}

func (p *plain) Hashes(ctx context.Context, indexes []int64) ([][32]byte, error) {
	return call(ctx, p, func() ([][32]byte, error) { return p.ref.Hashes(ctx, indexes) })
}

func (p *plain) WriteNotes(ctx context.Context, writes []store.NoteWrite) error {
	_, err := call(ctx, p, func() (int, error) { return 0, p.ref.WriteNotes(ctx, cloneWrites(writes)) })
	return err
}

func (p *plain) GetNote(ctx context.Context, space, key string) (*store.Note, error) {
	return call(ctx, p, func() (*store.Note, error) { return oneNote(p.ref.GetNote(ctx, space, key)) })
}

func (p *plain) ListNotes(ctx context.Context, q store.NoteQuery) ([]*store.Note, error) {
	return call(ctx, p, func() ([]*store.Note, error) {
		ns, err := p.ref.ListNotes(ctx, q)
		cs := []*store.Note{}
		for _, n := range ns {
			c, _ := oneNote(n, nil)
			cs = append(cs, c)
		}
		return cs, err
	})
}

func (p *plain) NoteSpaces(ctx context.Context) ([]string, error) {
	return call(ctx, p, func() ([]string, error) { return p.ref.NoteSpaces(ctx) })
}

// The reference shares memory with its caller; a store does not.

func one(r *store.Revision, err error) (*store.Revision, error) {
	if err != nil {
		return nil, err
	}
	c := *r
	c.Document, c.Authors = append([]byte(nil), r.Document...), append([]string{}, r.Authors...)
	return &c, nil
}

func many(rs []*store.Revision, err error) ([]*store.Revision, error) {
	cs := []*store.Revision{}
	for _, r := range rs {
		c, _ := one(r, nil)
		cs = append(cs, c)
	}
	return cs, err
}

func oneNote(n *store.Note, err error) (*store.Note, error) {
	if err != nil {
		return nil, err
	}
	c := *n
	c.Terms, c.Body = append([]string{}, n.Terms...), append([]byte{}, n.Body...)
	return &c, nil
}

func cloneWrites(writes []store.NoteWrite) []store.NoteWrite {
	writes = append([]store.NoteWrite(nil), writes...)
	for i, w := range writes {
		if w.Body != nil {
			writes[i].Body = append([]byte{}, w.Body...)
		}
	}
	return writes
}

func clonePublication(p store.Publication) store.Publication {
	p.Authors = append([]string{}, p.Authors...)
	p.Changes = append([]store.Change(nil), p.Changes...)
	for i, c := range p.Changes {
		if c.Document != nil {
			p.Changes[i].Document = append([]byte{}, c.Document...)
		}
	}
	return p
}
