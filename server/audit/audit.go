// Package audit goes through a whole history and says what in it is not as it was
// published: every leaf is made again from the stored revision and held against the
// hashes that were stored when it was published, and the tree against checkpoints
// that somebody kept.
package audit

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/notary"
	"proofload/server/store"
	"proofload/specdata"
)

// Source is what an audit reads: a store, opened from a backup or served.
type Source interface {
	Head(ctx context.Context) (store.Head, error)
	Log(ctx context.Context, after, upTo int64, limit int) ([]*store.Revision, error)
	Leaf(ctx context.Context, index int64) (*store.Revision, error)
	Hashes(ctx context.Context, indexes []int64) ([][32]byte, error)
}

// What says what happened to a piece of history.
type What string

// What can happen to it.
const (
	Changed    What = "changed"      // a revision is not what was published there
	Dropped    What = "dropped"      // a revision that was published is gone
	Inserted   What = "inserted"     // a revision stands there that was not published
	Reordered  What = "reordered"    // a revision stands at another place of the log
	Damaged    What = "damaged"      // a revision cannot be read
	TreeBroken What = "tree broken"  // the stored hashes do not make one tree
	Impossible What = "impossible"   // numbers, positions or times that no publication leaves
	RolledBack What = "rolled back"  // the history ends before a kept checkpoint
	Rewritten  What = "rewritten"    // the history is consistent, and not the one of a kept checkpoint
	Foreign    What = "of another"   // a kept checkpoint is of another library
	SplitView  What = "contradicted" // two kept checkpoints cannot both be of one history
)

// Fault is one thing that is not as it was published.
type Fault struct {
	What What
	// Leaf is the index in the ledger, -1 where the fault is of no one leaf.
	Leaf int64
	// Record, Revision and Position say which revision is there now, or was there,
	// as far as that can be told.
	Record   specdata.Name
	Revision int64
	Position int64
	// Message says it all in a sentence.
	Message string
}

// Report is what an audit found.
type Report struct {
	Head store.Head
	// Root is the root of the tree made again from the stored revisions.
	Root tlog.Hash
	// Faults are in order of leaf; none is a history as it was published.
	Faults []Fault
	// Fitting counts the kept checkpoints that fit.
	Fitting int
}

// seen is what is kept of a revision while the rest is read.
type seen struct {
	hash     tlog.Hash
	name     specdata.Name
	number   int64
	position int64
	time     time.Time
	// withdrawn says that it withdraws the record.
	withdrawn bool
	// damage says why it could not be read.
	damage string
}

// History audits a source against the checkpoints that were kept of it, which the
// caller has verified. origin is the library's name, "" where it is not known. The
// error is one of reading, and says nothing of the history.
func History(ctx context.Context, s Source, origin string, kept []ledger.Checkpoint) (*Report, error) {
	head, err := s.Head(ctx)
	if err != nil {
		return nil, err
	}
	rep := &Report{Head: head}
	all, err := rep.read(ctx, s)
	if err != nil {
		return nil, err
	}
	stored, err := hashes(ctx, s, tlog.StoredHashCount(head.Revisions))
	if err != nil {
		return nil, err
	}
	made, err := rebuild(all)
	if err != nil {
		return nil, err
	}
	rep.compare(all, head.Revisions, stored, made)
	if len(rep.Faults) == 0 {
		rep.possible(all)
	}
	size := int64(len(all))
	if rep.Root, err = ledger.Root(size, reader(made)); err != nil {
		return nil, err
	}
	if err := rep.checkpoints(all, made, origin, kept); err != nil {
		return nil, err
	}
	slices.SortStableFunc(rep.Faults, func(a, b Fault) int { return int(a.Leaf - b.Leaf) })
	return rep, nil
}

// batch is how many revisions are read at once.
const batch = store.MaxLimit

// read reads every revision in ledger order. From the first on that cannot be read,
// or is not where it belongs, they are read one by one, so that none hides another.
func (rep *Report) read(ctx context.Context, s Source) ([]seen, error) {
	var all []seen
	inOrder := true
	for after := int64(0); inOrder && after < rep.Head.Position; {
		revs, err := s.Log(ctx, after, rep.Head.Position, batch)
		if err != nil && !broken(err) {
			return nil, err
		}
		if err != nil || len(revs) == 0 {
			break
		}
		for _, r := range revs {
			if inOrder = r.Leaf == int64(len(all)); !inOrder {
				break
			}
			all = append(all, look(r))
		}
		after = revs[len(revs)-1].Position
	}
	for i := int64(len(all)); i < rep.Head.Revisions; i++ {
		r, err := s.Leaf(ctx, i)
		switch {
		case err == nil:
			all = append(all, look(r))
		case errors.Is(err, store.ErrCorrupt) || errors.Is(err, store.ErrInvalid):
			all = append(all, seen{damage: err.Error()})
		case !broken(err):
			return nil, err
		}
	}
	return all, nil
}

func broken(err error) bool {
	return errors.Is(err, store.ErrCorrupt) || errors.Is(err, store.ErrInvalid) || errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrFuture)
}

func look(r *store.Revision) seen {
	l := notary.LeafOf(r)
	e := seen{hash: l.Hash(), name: r.Name, number: r.Number, position: r.Position, time: r.Time, withdrawn: r.Withdrawn}
	if !l.Is(r.Document) {
		e.damage = fmt.Sprintf("record %s revision %d: its document does not have the hash it was published with", r.Name, r.Number)
	}
	return e
}

func hashes(ctx context.Context, s Source, n int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, 0, n)
	for at := int64(0); at < n; {
		ask := make([]int64, 0, batch)
		for ; at < n && len(ask) < batch; at++ {
			ask = append(ask, at)
		}
		got, err := s.Hashes(ctx, ask)
		if err != nil && !broken(err) {
			return nil, err
		}
		if err != nil {
			got = make([][32]byte, len(ask)) // no tree has a hash of nothing but zeros
			for i, x := range ask {
				if one, err := s.Hashes(ctx, []int64{x}); err == nil {
					got[i] = one[0]
				}
			}
		}
		for _, h := range got {
			out = append(out, h)
		}
	}
	return out, nil
}

// rebuild returns the stored hashes that the leaves make.
func rebuild(all []seen) ([]tlog.Hash, error) {
	made := make([]tlog.Hash, 0, 2*len(all))
	for i := range all {
		hs, err := tlog.StoredHashesForRecordHash(int64(i), all[i].hash, reader(made))
		if err != nil {
			return nil, err
		}
		made = append(made, hs...)
	}
	return made, nil
}

type reader []tlog.Hash

// ReadHashes implements ledger.Hashes.
func (r reader) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		if x < 0 || x >= int64(len(r)) {
			return nil, fmt.Errorf("hash %d is not there; there are %d", x, len(r))
		}
		out[i] = r[x]
	}
	return out, nil
}
