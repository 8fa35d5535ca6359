// Package store is the contract of the versioned record store. Package storetest
// holds the one conformance suite that every implementation passes.
package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"proofload/specdata"
)

// Revision is one published state of one record.
type Revision struct {
	Name specdata.Name
	// Number counts the record's revisions from 1 without gaps.
	Number int64
	// Position is the position of the publication that made it.
	Position int64
	// Document is the canonical document (RFC 8785). A withdrawal repeats the last
	// document, so that what was withdrawn can still be read.
	Document []byte
	// Hash is the SHA-256 of Document, lower-case hex.
	Hash      string
	Withdrawn bool
	// Authors are the people who wrote any part of it, Reviewer the one who approved it.
	Authors  []string
	Reviewer string
	Reason   string
	Time     time.Time
}

// Change is one record's part of a publication.
type Change struct {
	Name specdata.Name
	// Base is the revision number the change was made against: 0 for a record that does not exist yet.
	Base int64
	// Document is the new canonical document; nil withdraws the record.
	Document []byte
}

// Publication is what one position is made of. Its changes are applied together or not at all.
type Publication struct {
	Changes  []Change
	Authors  []string
	Reviewer string
	Reason   string
	// Time is when it is published; the store keeps times from going backwards.
	Time time.Time
}

// Head is the newest position.
type Head struct {
	// Position counts publications from 1; 0 is an empty store.
	Position int64
	// Revisions counts the revisions of all records, the size of the ledger.
	Revisions int64
	Time      time.Time
}

// At names a moment. The zero At is the head. At most one field is set.
type At struct {
	Position int64
	Time     time.Time
	Release  string
}

// Release is a named position.
type Release struct {
	Name     string
	Position int64
	Note     string
	By       string
	Time     time.Time
}

// Query selects the current records of one kind at a position.
type Query struct {
	Kind specdata.Kind
	// Vehicle keeps records with an applicability clause for this vehicle.
	Vehicle string
	// Place keeps fasteners and assemblies at this place, exactly.
	Place string
	// Thread keeps fasteners with this designation, exactly.
	Thread string
	// Joint keeps fasteners of this joint kind.
	Joint string
	// Source keeps records that cite this source.
	Source string
	// Withdrawn also gives withdrawn records.
	Withdrawn bool
	// After continues behind this id; "" starts. Results are in order of id.
	After string
	// Limit is the most to give, 1 to 1000.
	Limit int
}

// Hit is one answer of a text search.
type Hit struct {
	Name  specdata.Name
	Title string
	// Place is the place, make and model or issuer that tells it from others.
	Place string
}

// Store keeps revisions. Everything published stays readable for ever.
//
// Order. One publication takes one position. Positions count from 1 without gaps
// in the order publications become visible: a reader that has seen position n has
// seen, or can read, every position up to n, and never later sees a smaller one
// appear.
//
// Durability. Publish returns nil only when the publication is on stable storage.
// When Publish fails, the publication is either wholly absent or, where the error
// is ErrUnknown, of unknown outcome; it is never half there. After a failed sync
// the store refuses writes (ErrReadOnly) until it is opened again, because what
// the operating system kept cannot be known.
//
// Concurrency. All methods may be called from many goroutines. Reads at a fixed
// position always give the same answer.
//
// Errors. Methods give ErrNotFound, ErrConflict, ErrFuture, ErrFull, ErrCorrupt,
// ErrReadOnly, ErrUnknown or ErrNewer wrapped with what was found and what was
// wanted, the context's error, or an error of the engine.
type Store interface {
	// Publish applies the changes and gives the new position. A change whose Base
	// is not the record's current revision number makes it fail with a *Conflict.
	Publish(ctx context.Context, p Publication) (int64, error)
	// Head gives the newest position.
	Head(ctx context.Context) (Head, error)
	// Resolve turns a moment into a position: the newest publication not later
	// than a time, the position of a release. ErrNotFound for an unknown release or
	// a time before the first publication, ErrFuture for a position not yet published.
	Resolve(ctx context.Context, at At) (int64, error)
	// Get gives the record's revision in force at a position, which may be a withdrawal.
	Get(ctx context.Context, name specdata.Name, position int64) (*Revision, error)
	// GetRevision gives one revision by its number.
	GetRevision(ctx context.Context, name specdata.Name, number int64) (*Revision, error)
	// Revisions lists a record's revisions up to a position, newest first, numbers below before (0: all), at most limit.
	Revisions(ctx context.Context, name specdata.Name, position, before int64, limit int) ([]*Revision, error)
	// List gives the records in force at a position that match the query, in order of id.
	List(ctx context.Context, q Query, position int64) ([]*Revision, error)
	// Uses lists the names of records in force at a position that refer to name, sorted.
	Uses(ctx context.Context, name specdata.Name, position int64) ([]specdata.Name, error)
	// Search gives records at the head whose title, place, make or thread match every word, best first.
	Search(ctx context.Context, words string, kind specdata.Kind, limit int) ([]Hit, error)
	// Log gives the revisions of positions after and up to, in ledger order, whole
	// positions only, at least one position if there is one and then at most about limit revisions.
	Log(ctx context.Context, after, upTo int64, limit int) ([]*Revision, error)
	// SetRelease names a position. A name is given once; naming it again for another position is ErrConflict.
	SetRelease(ctx context.Context, r Release) error
	// Releases lists them in order of position, then name.
	Releases(ctx context.Context) ([]Release, error)
	// Check recomputes everything derived from the log and says what disagrees; nil when nothing does.
	Check(ctx context.Context) error
	Close() error
}

// The errors of stores. They are compared with errors.Is.
var (
	ErrNotFound = errors.New("not found")
	ErrConflict = errors.New("conflict")
	ErrFuture   = errors.New("not yet published")
	ErrFull     = errors.New("storage is full")
	ErrCorrupt  = errors.New("stored data is damaged")
	ErrReadOnly = errors.New("store takes no writes")
	ErrUnknown  = errors.New("outcome unknown")
	ErrNewer    = errors.New("store was written by a newer version")
)

// Conflict says that a record moved since a change was made.
type Conflict struct {
	Name specdata.Name
	// Base is the revision the change was made against, Current the one in force.
	Base, Current int64
}

// Error implements error.
func (c *Conflict) Error() string {
	return fmt.Sprintf("record %s is at revision %d, the change was made against %d; read it again and redo the change", c.Name, c.Current, c.Base)
}

// Is makes a Conflict an ErrConflict.
func (c *Conflict) Is(target error) bool { return target == ErrConflict }
