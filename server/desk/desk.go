// Package desk leads a correction through its life: proposed against what is
// published, checked on the library as it would become, reviewed by a person who
// wrote no part of it, and published, rejected or withdrawn.
//
// A correction is a note in the store (space "corrections"); publishing writes the
// new revisions, the correction's end and the answer kept for its request id in one
// transaction.
package desk

import (
	"sync"
	"sync/atomic"
	"time"

	"proofload/server/ask"
	"proofload/server/check"
	"proofload/server/snapshot"
	"proofload/specdata"
	"proofload/specdata/change"
)

// Actor is the person who asks. Whether their token has the role is decided before
// the desk is called (access.Clear); here only the person counts: nobody approves
// what they wrote a part of.
type Actor struct {
	// Name is the person, as revisions name them.
	Name string
}

// State is where a correction stands.
type State string

// The states. Published, Rejected and Withdrawn are ends.
const (
	Open      State = "open"     // may be amended, approved, rejected, withdrawn
	Approved  State = "approved" // may be published; amending opens it again
	Published State = "published"
	Rejected  State = "rejected"
	Withdrawn State = "withdrawn"
)

// States lists the states.
var States = []State{Open, Approved, Published, Rejected, Withdrawn}

// Change is what a correction does to one record: exactly one of MergePatch,
// JSONPatch, Document and Withdraw.
type Change struct {
	Name specdata.Name `json:"name"`
	// Base is the revision the change was made against; 0 for a new record.
	// BaseHash may stand instead: the hash of that revision's document.
	Base     int64  `json:"base"`
	BaseHash string `json:"base_hash,omitempty"`
	// MergePatch is RFC 7396, JSONPatch RFC 6902, Document whole (YAML or JSON).
	MergePatch string `json:"merge_patch,omitempty"`
	JSONPatch  string `json:"json_patch,omitempty"`
	Document   string `json:"document,omitempty"`
	Withdraw   bool   `json:"withdraw,omitempty"`
	// Drop, in an amendment and instead of the four, takes the record out of the correction.
	Drop bool `json:"drop,omitempty"`
}

// Proposal is what somebody asks to be published.
type Proposal struct {
	Changes []Change
	// Reason says why, for good; Evidence what it rests on: pages, measurements, links.
	Reason   string
	Evidence []string
	// RequestID makes asking twice the same as asking once; "" for none. The same id
	// with another request is refused.
	RequestID string
}

// FieldChange is one field that differs between two documents.
type FieldChange = change.Field

// Draft is one record of a correction with everything worked out.
type Draft struct {
	Name specdata.Name `json:"name"`
	// Base is the revision that the document was last merged onto, 0 for a new record.
	Base int64 `json:"base"`
	// Document is the canonical document as it would be published; nil withdraws.
	Document []byte `json:"document,omitempty"`
	Hash     string `json:"hash,omitempty"`
	// Fields are what differs from Base, nothing for a new record and a withdrawal.
	Fields []FieldChange `json:"fields,omitempty"`
}

// Findings are what the checks say of the library as it would become, compared
// with what they say of it as it is.
type Findings struct {
	// New are there only with the correction, Mended only without, Unchanged either way.
	// The worst come first, and of each list at most maxFindings are kept.
	New       []specdata.Finding `json:"new,omitempty"`
	Mended    []specdata.Finding `json:"mended,omitempty"`
	Unchanged []specdata.Finding `json:"unchanged,omitempty"`
	// Blocking counts findings of severity error that no waiver accepts, in New, and
	// in Unchanged where they are of a record that is changed.
	Blocking int `json:"blocking,omitempty"`
	// NotChecked is about the changed records.
	NotChecked []specdata.NotChecked `json:"not_checked,omitempty"`
	// Omitted counts what the lists had no room for.
	Omitted int `json:"omitted,omitempty"`
}

// Decision is a reviewer's word.
type Decision struct {
	By string `json:"by"`
	// Approved, or else rejected.
	Approved bool `json:"approved"`
	// Content is the hash of what was seen.
	Content string    `json:"content"`
	Comment string    `json:"comment,omitempty"`
	Time    time.Time `json:"time"`
}

// Signature is somebody's own word for the content of a correction, which the server
// cannot make up: a signed note (package own).
type Signature struct {
	By   string    `json:"by"`
	Note string    `json:"note"`
	Time time.Time `json:"time"`
}

// End is who closed a correction: published, rejected or withdrew it.
type End struct {
	By      string    `json:"by"`
	Comment string    `json:"comment,omitempty"`
	Time    time.Time `json:"time"`
}

// Correction is a proposal and what became of it.
type Correction struct {
	// ID sorts by time of proposal.
	ID string `json:"id"`
	// Version counts its writes: the etag.
	Version int64   `json:"-"`
	State   State   `json:"state"`
	Drafts  []Draft `json:"drafts"`
	// Content is the SHA-256 of the drafts, reason and evidence: what an approval binds to.
	Content  string   `json:"content"`
	Reason   string   `json:"reason"`
	Evidence []string `json:"evidence,omitempty"`
	// Authors wrote some part of it, in order of their first part.
	Authors   []string   `json:"authors"`
	Findings  Findings   `json:"findings"`
	Decisions []Decision `json:"decisions,omitempty"`
	// Signatures are those of authors and reviewers with keys of their own.
	Signatures []Signature `json:"signatures,omitempty"`
	// End is set once the correction is closed.
	End *End `json:"end,omitempty"`
	// CheckedAt is the position the findings are of.
	CheckedAt int64     `json:"checked_at"`
	Created   time.Time `json:"created"`
	Updated   time.Time `json:"updated"`
	// Position is that of its publication, 0 before; Reach is whom that concerns.
	Position int64  `json:"position,omitempty"`
	Reach    *Reach `json:"reach,omitempty"`
}

// Reach is what rested on the values that a publication changed, the most urgent first.
type Reach struct {
	Records []Moved `json:"records"`
	// Procedures use a changed record, Releases contain an old state, Sheets printed
	// it, Readers read it.
	Procedures []ReachedProcedure `json:"procedures,omitempty"`
	Releases   []string           `json:"releases,omitempty"`
	Sheets     []ReachedSheet     `json:"sheets,omitempty"`
	Readers    []ReachedReader    `json:"readers,omitempty"`
	// Narrations say it, at the times that they hold.
	Narrations []ReachedNarration `json:"narrations,omitempty"`
	// LeftOut counts what the lists do not hold, because they are bounded.
	LeftOut LeftOut `json:"left_out,omitzero"`
}

// LeftOut counts what is left out of the lists of a reach.
type LeftOut struct {
	Procedures int `json:"procedures,omitempty"`
	Releases   int `json:"releases,omitempty"`
	Sheets     int `json:"sheets,omitempty"`
	Readers    int `json:"readers,omitempty"`
	Narrations int `json:"narrations,omitempty"`
}

// Moved is a record whose values moved, and how urgent that is.
type Moved struct {
	Name specdata.Name `json:"name"`
	// Rank counts from 1, the most urgent; Why says what made it so, in shop words
	// with both units ("torque down 12 % from 80 N·m (59 lbf·ft) …; safety critical").
	Rank int    `json:"rank"`
	Why  string `json:"why"`
	// Safety is the record's criticality, Change the largest relative move of a
	// tightening torque (+0.12 is up by 12 %), 0 where none moved.
	Safety string  `json:"safety,omitempty"`
	Change float64 `json:"change,omitempty"`
}

// ReachedProcedure is a procedure that uses changed records.
type ReachedProcedure struct {
	Name  specdata.Name   `json:"name"`
	Title string          `json:"title"`
	Uses  []specdata.Name `json:"uses"`
}

// ReachedSheet is a print that shows an old value.
type ReachedSheet struct {
	Code      string        `json:"code"`
	Procedure specdata.Name `json:"procedure"`
	By        string        `json:"by,omitempty"`
	Printed   time.Time     `json:"printed"`
}

// ReachedReader is a token under which an old value was read.
type ReachedReader struct {
	Token string          `json:"token"`
	Read  []specdata.Name `json:"read"`
	Last  time.Time       `json:"last"`
}

// Deps are what a desk needs.
type Deps struct {
	Follower *snapshot.Follower
	// Check is the judge of records, Affected says which records' findings a change
	// may alter; both are those of the editors' command line.
	Check    check.Func
	Affected check.Affected
	// Pages makes page tokens; nil for tokens that end with the desk.
	Pages *ask.Pages
	// Reads, where not nil, knows who read what.
	Reads *Reads
	// Now is the clock, time.Now where nil.
	Now func() time.Time
}

// Desk leads corrections through their lives. All methods may be called from many
// goroutines, and several desks, as of several servers, may share one store. They
// give a *fault.Error for what is the caller's to mend; nothing is stored then.
type Desk struct {
	pages    *ask.Pages
	follower *snapshot.Follower
	judge    check.Func
	affected check.Affected
	reads    *Reads
	now      func() time.Time

	// publishing lets one publication of this desk be worked out at a time.
	publishing chan struct{}
	// kept counts answers kept, swept is the key up to which old ones were looked for.
	kept     atomic.Int64
	sweeping sync.Mutex
	swept    string
}

// New makes a desk.
func New(d Deps) *Desk {
	if d.Now == nil {
		d.Now = time.Now
	}
	if d.Pages == nil {
		d.Pages = ask.NewPages()
	}
	return &Desk{follower: d.Follower, pages: d.Pages, judge: d.Check, affected: d.Affected, reads: d.Reads, now: d.Now, publishing: make(chan struct{}, 1)}
}
