// Package transfer moves libraries between folders and stores: in as one
// publication that passed the checks, out as files that come back the same.
package transfer

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/specdata/person"
)

// Check judges a library as it would become. changed names the records that are
// new, different or gone; before is the library as it is. It returns the findings of
// those records and of whatever depends on them.
type Check func(ctx context.Context, after library.Library, changed []specdata.Name, before library.Library) ([]specdata.Finding, error)

// ImportOptions says how records come in.
type ImportOptions struct {
	// Check is asked before anything is published.
	Check Check
	// By, Reviewer and Reason are kept with every revision.
	By, Reviewer, Reason string
	Time                 time.Time
	// Prune withdraws the records that the store has in force and the import lacks.
	Prune bool
	// DryRun checks and tells, and publishes nothing.
	DryRun bool
}

// Imported is what an import did, or would do.
type Imported struct {
	// Position is that of the publication; the head where there was nothing to publish.
	Position int64
	// Added, Changed and Withdrawn are sorted by name.
	Added, Changed, Withdrawn []specdata.Name
	// Unchanged counts the records whose documents the store has already.
	Unchanged int
	// Findings are what the check had to say.
	Findings []specdata.Finding
}

// ErrBlocked says that findings kept an import from being published; Imported has them.
var ErrBlocked = errors.New("findings block publishing")

// Import brings records into a store as one publication, or none. Documents that the
// store has already, canonically the same, are not published again. Where the check
// gives an error that no waiver accepts, nothing is published and the error is an
// ErrBlocked. A waiver that is new or changed names the reviewer, where there is none By.
// Where somebody else published meanwhile it is the store's ErrConflict;
// import again.
func Import(ctx context.Context, s store.Store, entries []*library.Entry, o ImportOptions) (*Imported, error) {
	follower, err := snapshot.NewFollower(ctx, s)
	if err != nil {
		return nil, err
	}
	head, err := follower.Head(ctx)
	if err != nil {
		return nil, err
	}
	before := follower.At(ctx, head)
	p := plan{done: &Imported{Position: head}, before: before, entries: entries, whole: o.Prune || head == 0}
	if err := p.take(entries); err != nil {
		return nil, err
	}
	if o.Prune {
		p.prune(entries)
	}
	if err := before.Err(); err != nil {
		return nil, err
	}
	if len(p.changes) == 0 {
		return p.done, nil
	}
	if err := p.accepted(cmp.Or(o.Reviewer, o.By)); err != nil {
		return nil, err
	}
	p.done.Findings, err = o.Check(ctx, p.after(), p.changed(), before)
	if err != nil {
		return nil, err
	}
	blocking := 0
	for _, f := range p.done.Findings {
		if f.Severity == specdata.Error && f.Waived == "" {
			blocking++
		}
	}
	if blocking > 0 {
		return p.done, fmt.Errorf("%w, %d in all; nothing was published, mend them first", ErrBlocked, blocking)
	}
	if o.DryRun {
		return p.done, nil
	}
	p.done.Position, err = s.Publish(ctx, store.Publication{Changes: p.changes, Authors: []string{o.By}, Reviewer: o.Reviewer, Reason: o.Reason, Time: o.Time})
	if err != nil {
		return nil, err
	}
	return p.done, nil
}

// plan is what an import is going to publish.
type plan struct {
	before  *snapshot.Snapshot
	changes []store.Change
	fresh   []*library.Entry
	done    *Imported
	// entries are all that come in; whole says that nothing else will be in force.
	entries []*library.Entry
	whole   bool
}

// take compares the entries with what the store has.
func (p *plan) take(entries []*library.Entry) error {
	entries = slices.Clone(entries)
	slices.SortFunc(entries, func(a, b *library.Entry) int { return compareNames(a.Name(), b.Name()) })
	for i, e := range entries {
		if i > 0 && e.Name() == entries[i-1].Name() {
			return fmt.Errorf("record %s stands twice in the import; keep one", e.Name())
		}
		if p.before.Position() == 0 { // spares a question a record
			p.add(e, 0, &p.done.Added)
			continue
		}
		old, err := p.before.Record(e.Name())
		switch {
		case err != nil:
			return err
		case old == nil:
			p.add(e, 0, &p.done.Added)
		case old.Revision.Withdrawn:
			p.add(e, old.Revision.Number, &p.done.Added)
		case old.Revision.Hash != e.Hash:
			p.add(e, old.Revision.Number, &p.done.Changed)
		default:
			p.done.Unchanged++
		}
	}
	return nil
}

func (p *plan) add(e *library.Entry, base int64, to *[]specdata.Name) {
	p.changes = append(p.changes, store.Change{Name: e.Name(), Base: base, Document: e.Canonical})
	p.fresh = append(p.fresh, e)
	*to = append(*to, e.Name())
}

// accepted returns an error for a waiver that is new or changed and by another person than
// the one who approves: nobody accepts a finding in another's name.
func (p *plan) accepted(approver string) error {
	for _, c := range p.changes {
		var before []byte
		if c.Base > 0 {
			old, err := p.before.Record(c.Name)
			if err != nil {
				return err
			}
			if old != nil && !old.Revision.Withdrawn {
				before = old.Revision.Document
			}
		}
		for _, w := range specdata.WaiversGiven(before, c.Document) {
			if !person.Same(approver, w.By) {
				return fmt.Errorf("waiver of %s in %s is by %s; only %[3]s can approve it, not %[4]s; have %[3]s review the import, or amend the waiver; nothing was published", w.Rule, c.Name, w.By, approver)
			}
		}
	}
	return nil
}

// prune withdraws what is in force and not among the entries.
func (p *plan) prune(entries []*library.Entry) {
	keep := make(map[specdata.Name]bool, len(entries))
	for _, e := range entries {
		keep[e.Name()] = true
	}
	for _, k := range specdata.Kinds {
		for e := range p.before.All(k) {
			if keep[e.Name()] {
				continue
			}
			r, err := p.before.Record(e.Name())
			if err != nil || r == nil {
				return // the snapshot's Err says why
			}
			p.changes = append(p.changes, store.Change{Name: e.Name(), Base: r.Revision.Number})
			p.done.Withdrawn = append(p.done.Withdrawn, e.Name())
		}
	}
}

// after is the library as it would become. Where nothing of the store is left beside
// the entries, that is the entries.
func (p *plan) after() library.Library {
	if p.whole {
		if m, err := library.NewMemory(p.entries...); err == nil { // no name stands twice in a plan
			return m
		}
	}
	return library.Overlay(library.Without(p.before, p.done.Withdrawn...), p.fresh...)
}

func (p *plan) changed() []specdata.Name {
	names := slices.Concat(p.done.Added, p.done.Changed, p.done.Withdrawn)
	slices.SortFunc(names, compareNames)
	return names
}

// compareNames orders by kind, as listings and exports do, then by id.
func compareNames(a, b specdata.Name) int {
	if a.Kind() != b.Kind() {
		return slices.Index(specdata.Kinds, a.Kind()) - slices.Index(specdata.Kinds, b.Kind())
	}
	if a < b {
		return -1
	}
	if a > b {
		return 1
	}
	return 0
}
