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
	// Leaf is the revision's index in the ledger: all revisions, counted from 0.
	Leaf int64
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
	// Key is the key of its publication, "" where it had none.
	Key string
}

// Change is one record's part of a publication.
type Change struct {
	Name specdata.Name
	// Base is the revision number the change was made against: 0 for a record that
	// never existed, the number of the withdrawal for one that was withdrawn.
	Base int64
	// Document is the new canonical document; nil withdraws the record.
	Document []byte
}

// Publication is what one position is made of. Its changes are applied together or not at all.
type Publication struct {
	// Changes are at least one, each of another record. Their order is the order of the ledger.
	Changes  []Change
	Authors  []string
	Reviewer string
	Reason   string
	// Time is when it is published. The store keeps times from going backwards: a
	// time before the newest publication's becomes that one's.
	Time time.Time
	// Key, where not empty, names the publication once and for all. Publishing the
	// same changes again under the same key changes nothing and returns the position
	// of the first time, so that anyone who met ErrUnknown, or lost the answer, may
	// simply publish again.
	Key string
	// Notes, where not nil, gives what is written beside the log together with the
	// publication, or not at all. It is told the position and the time that the
	// publication gets. It may be called more than once, must give the same each
	// time for the same arguments and must not call the store. It is not called
	// where the Key was used before: the notes of the first time stand. An error of
	// it, or a note that moved (*NoteConflict), refuses the publication.
	Notes func(position int64, published time.Time) ([]NoteWrite, error)
}

// Note is a small document beside the log that, unlike the log, may change and go:
// a correction on its way, an answer kept for its request id, a token, the print of
// a sheet. Notes are at no position and in no ledger.
type Note struct {
	Space, Key string
	// Version counts the writes of the key from 1.
	Version int64
	// Terms are what it is listed by, sorted, each once.
	Terms []string
	Body  []byte
	// Time is what its last write said.
	Time time.Time
}

// AnyVersion as the Base of a write takes whatever is there, or nothing.
const AnyVersion = -1

// NoteWrite writes a note, or removes it.
type NoteWrite struct {
	// Space and Key name the note: Space a lower-case word, Key up to MaxKey bytes.
	Space, Key string
	// Base is the version the write was made against: 0 where there should be none,
	// AnyVersion where it does not matter.
	Base int64
	// Terms are what it is to be listed by, each up to MaxKey bytes, at most MaxTerms.
	Terms []string
	// Body is up to MaxNote bytes; nil removes the note. A key that is written again
	// after it was removed counts its versions from 1.
	Body []byte
	Time time.Time
	// Version, where not 0, is the version that the note gets instead of the next,
	// above the one that stands: so a copy of a store has the versions of the first.
	Version int64
}

// NoteQuery selects notes of one space.
type NoteQuery struct {
	Space string
	// Term keeps the notes listed by it; "" keeps all.
	Term string
	// After continues behind this key in the order asked for; "" starts.
	After string
	// Descending lists from the last key to the first.
	Descending bool
	// Limit is the most to give, 1 to MaxLimit.
	Limit int
}

// Head is the newest position.
type Head struct {
	// Position counts publications from 1; 0 is an empty store.
	Position int64
	// Revisions counts the revisions of all records, the size of the ledger.
	Revisions int64
	Time      time.Time
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
	// Before, where not empty, lists backwards instead: the records in front of this
	// id, the nearest first.
	Before string
	// Limit is the most to give, 1 to MaxLimit.
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
// appear. Times never go backwards from one position to the next.
//
// Records. A record's revisions count from 1 without gaps, through withdrawal and
// revival: publishing over a withdrawn record continues its numbers. A record is
// in force from its first revision on; while its newest revision is a withdrawal it
// is withdrawn, which Get and Revisions show and List and Search hide.
//
// Durability. Publish returns nil only when the publication is on stable storage.
// When Publish fails, the publication is either wholly absent or, where the error
// is ErrUnknown, of unknown outcome; it is never half there. After a failed sync
// the store refuses writes (ErrReadOnly) until it is opened again, because what
// the operating system kept cannot be known. A full disk (ErrFull) changes nothing,
// and writes succeed again once there is space.
//
// Concurrency. All methods may be called from many goroutines. Reads at a fixed
// position always give the same answer. Once Publish has returned a position, every
// read may name it.
//
// Positions as arguments. Position 0 is before everything and finds nothing; one
// that is not yet published is ErrFuture. A document that does not hash to what was
// published is never given: that read is ErrCorrupt.
//
// Errors. Methods give ErrNotFound, ErrConflict, ErrFuture, ErrInvalid, ErrFull,
// ErrCorrupt, ErrReadOnly, ErrUnknown or ErrNewer wrapped with what was found and
// what was wanted, the context's error, or an error of the engine.
type Store interface {
	// Publish applies the changes and returns the new position. A change whose Base
	// is not the record's current revision number makes it fail with a *Conflict,
	// a withdrawal of what is not there or withdrawn already with ErrNotFound, a
	// publication that is not in order (no change, no time, one record twice, a
	// document that is not of the record it is for) with ErrInvalid. A Key used
	// before for other changes is ErrConflict.
	Publish(ctx context.Context, p Publication) (int64, error)
	// Head returns the newest position.
	Head(ctx context.Context) (Head, error)
	// Resolve turns a moment into a position: the newest publication not later
	// than a time, the position of a release. The head of an empty store is 0.
	// ErrNotFound for an unknown release or a time before the first
	// publication, ErrFuture for a position not yet published.
	Resolve(ctx context.Context, at At) (int64, error)
	// Get returns the record's revision in force at a position, which may be a
	// withdrawal. ErrNotFound where the record had no revision yet.
	Get(ctx context.Context, name specdata.Name, position int64) (*Revision, error)
	// GetRevision returns one revision by its number. ErrNotFound where there is none.
	GetRevision(ctx context.Context, name specdata.Name, number int64) (*Revision, error)
	// Revisions lists a record's revisions up to a position, newest first, numbers
	// below before (0: all), at most limit (1 to 1000). ErrNotFound where the record
	// had no revision yet.
	Revisions(ctx context.Context, name specdata.Name, position, before int64, limit int) ([]*Revision, error)
	// List returns the records in force at a position that match the query, in order of
	// id. Any mixture of filters may be set; a record matches all of them.
	List(ctx context.Context, q Query, position int64) ([]*Revision, error)
	// Uses lists the names of records in force at a position, withdrawn ones left
	// out, that refer to name, sorted.
	Uses(ctx context.Context, name specdata.Name, position int64) ([]specdata.Name, error)
	// Search returns records in force at the head, withdrawn ones left out, whose
	// title, place, make, model, issuer or thread have every word, at most limit (1 to
	// 1000), best first: the fewer words a record has besides the better, then the
	// longer it stands unchanged. Words are told apart as index.Words does; text
	// without a word finds nothing. kind "" searches all.
	Search(ctx context.Context, words string, kind specdata.Kind, limit int) ([]Hit, error)
	// Log returns the revisions of positions after and up to, in ledger order, whole
	// positions only, at least one position if there is one and then at most about
	// limit (1 to 1000) revisions. ErrFuture where either position is not yet published.
	Log(ctx context.Context, after, upTo int64, limit int) ([]*Revision, error)
	// HeadAt returns the head as it was at a position; position 0 is the empty head.
	// ErrFuture for a position not yet published.
	HeadAt(ctx context.Context, position int64) (Head, error)
	// Await waits until a position is published and returns the head. It ends early
	// with the context's error or ErrClosed.
	Await(ctx context.Context, position int64) (Head, error)
	// Leaf returns the revision at an index of the ledger. ErrFuture beyond its end.
	Leaf(ctx context.Context, index int64) (*Revision, error)
	// Hashes returns stored hashes of the ledger's tree, numbered as
	// golang.org/x/mod/sumdb/tlog numbers them. A tree hashed when its leaves were
	// published: it does not change when a stored revision is damaged later.
	// ErrFuture for an index beyond the tree of the head.
	Hashes(ctx context.Context, indexes []int64) ([][32]byte, error)
	// WriteNotes applies the writes together or not at all, as durably as Publish
	// does. A note whose version is not the Base of its write makes it fail with a
	// *NoteConflict; writes that are not in order, or name one note twice, are ErrInvalid.
	WriteNotes(ctx context.Context, writes []NoteWrite) error
	// GetNote returns a note. ErrNotFound where there is none.
	GetNote(ctx context.Context, space, key string) (*Note, error)
	// ListNotes lists notes in order of key, which is that of its bytes.
	ListNotes(ctx context.Context, q NoteQuery) ([]*Note, error)
	// NoteSpaces lists the spaces that have notes, sorted.
	NoteSpaces(ctx context.Context) ([]string, error)
	// SetRelease names a position. A name is given once: naming the same position
	// again changes nothing, naming another is ErrConflict.
	SetRelease(ctx context.Context, r Release) error
	// Releases lists them in order of position, then name.
	Releases(ctx context.Context) ([]Release, error)
	// Check recomputes everything derived from the log and says what disagrees; nil when nothing does.
	Check(ctx context.Context) error
	// Rebuild throws away everything derived from the log and makes it again.
	// Readers see the old or the new, never a mixture.
	Rebuild(ctx context.Context) error
	// Close waits for what is under way and closes the store. Afterwards every method fails.
	Close() error
}

// The errors of stores. They are compared with errors.Is.
var (
	ErrNotFound = errors.New("not found")
	ErrConflict = errors.New("conflict")
	ErrFuture   = errors.New("not yet published")
	ErrInvalid  = errors.New("not acceptable")
	ErrFull     = errors.New("storage is full")
	ErrCorrupt  = errors.New("stored data is damaged")
	ErrReadOnly = errors.New("store takes no writes")
	ErrUnknown  = errors.New("outcome unknown")
	ErrNewer    = errors.New("store was written by a newer version")
	ErrClosed   = errors.New("store is closed")
	// ErrWentBack is an ErrCorrupt: the store's history is not the one that was read before.
	ErrWentBack = fmt.Errorf("%w: its history went back or forked", ErrCorrupt)
)

// MaxLimit is the most that one read returns.
const MaxLimit = 1000

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

// NoteConflict says that a note moved since a write was made.
type NoteConflict struct {
	Space, Key string
	// Base is the version the write was made against, Current the one that stands, 0 for none.
	Base, Current int64
}

// Error implements error.
func (c *NoteConflict) Error() string {
	return fmt.Sprintf("note %s/%s is at version %d, the write was made against %d; read it again and redo the write", c.Space, c.Key, c.Current, c.Base)
}

// Is makes a NoteConflict an ErrConflict.
func (c *NoteConflict) Is(target error) bool { return target == ErrConflict }
