// Package recheck walks a stored history once and says what in it no sequence of
// publications leaves, and what was derived from it and is not what it says. Engines
// feed it their rows; an audit shares its order.
package recheck

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/maphash"
	"maps"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// maxComplaints is how many places a check names; more are only counted.
const maxComplaints = 20

// Row is a revision as it is stored, with what is stored of its publication.
type Row struct {
	Name             specdata.Name
	Number, Position int64
	// Leaf is its index in the ledger, from 0, First the one with which its position
	// begins.
	Leaf, First int64
	Withdrawn   bool
	// Hash is the stored hash of the document, Tree the stored hashes of the subtrees
	// that the leaf completes.
	Hash, Document, Tree []byte
	// Authors is a JSON list.
	Authors          []byte
	Reviewer, Reason string
	Time             time.Time
}

// Span is where a revision is in force: from Since until before Until, which is
// Forever for a record's newest.
type Span struct {
	Name                       specdata.Name
	Number, Since, Until, Leaf int64
	Withdrawn                  bool
	// Words is how many the revision is searched by.
	Words int
}

// Forever is the end of the span of a revision that nothing has superseded.
const Forever = 1<<63 - 1

// Walk is a walk through a history. Use New, then Revision for every row in the order
// of its leaf, then End.
type Walk struct {
	// Head is what the log has led to, Edge that of the tree of its stored hashes.
	Head store.Head
	Edge ledger.Edge

	order   Order
	authors []string
	first   int64
	// treeLost says that hashes are missing, so that those above cannot be compared.
	treeLost bool
	newest   map[specdata.Name]*Span

	seed       maphash.Seed
	sums       map[string]uint64
	complaints []error
	count      int
}

// New begins a walk.
func New() *Walk {
	return &Walk{newest: map[specdata.Name]*Span{}, seed: maphash.MakeSeed(), sums: map[string]uint64{}}
}

// Complain notes something that is wrong.
func (w *Walk) Complain(format string, args ...any) {
	if w.count++; w.count <= maxComplaints {
		w.complaints = append(w.complaints, fmt.Errorf(format, args...))
	}
}

// Verdict returns nil when nothing was wrong, otherwise an ErrCorrupt that names the store.
func (w *Walk) Verdict(name string) error {
	if w.count == 0 {
		return nil
	}
	if more := w.count - len(w.complaints); more > 0 {
		w.complaints = append(w.complaints, fmt.Errorf("and %d more", more))
	}
	return fmt.Errorf("store %s: %w: %w", name, store.ErrCorrupt, errors.Join(w.complaints...))
}

// Revision checks the next revision. It returns what the revision is listed and
// searched by, and the span of the one it supersedes, nil for a record's first.
func (w *Walk) Revision(r *Row) (facts *index.Facts, superseded *Span) {
	what := fmt.Sprintf("record %s revision %d", r.Name, r.Number)
	if r.Leaf != w.Head.Revisions {
		w.Complain("%s: leaf %d follows leaf %d", what, r.Leaf, w.Head.Revisions-1)
	}
	if r.Position != w.Head.Position {
		w.first, w.authors = r.Leaf, nil
		if err := json.Unmarshal(r.Authors, &w.authors); err != nil {
			w.Complain("position %d: its authors cannot be read: %v", r.Position, err)
		}
	}
	for _, wrong := range w.order.Next(r.Name, r.Number, r.Position, r.Withdrawn, r.Time) {
		w.Complain("%s: %s", what, wrong)
	}
	w.Head = store.Head{Position: r.Position, Revisions: r.Leaf + 1, Time: r.Time}
	if r.First != w.first {
		w.Complain("%s: its row says that position %d begins with leaf %d; it begins with leaf %d", what, r.Position, r.First, w.first)
	}
	if sum := sha256.Sum256(r.Document); !bytes.Equal(sum[:], r.Hash) {
		w.Complain("%s: its document does not have the hash it was published with", what)
	}
	w.tree(what, r)
	facts, err := index.Of(r.Name, r.Document)
	if err != nil {
		w.Complain("%s: %v", what, err)
		facts = &index.Facts{}
	}
	if superseded = w.newest[r.Name]; superseded != nil {
		superseded.Until = r.Position
		w.Demand(string(r.Name), superseded.text())
	}
	w.newest[r.Name] = &Span{Name: r.Name, Number: r.Number, Since: r.Position, Until: Forever, Leaf: r.Leaf, Withdrawn: r.Withdrawn, Words: len(facts.Words)}
	return facts, superseded
}

// End demands the spans of the revisions that nothing has superseded.
func (w *Walk) End() {
	for name, s := range w.newest {
		w.Demand(string(name), s.text())
	}
}

// tree compares the hashes that are stored with a leaf with those that it and the tree
// before it demand. It builds on what is stored, so that one wrong hash is named once.
func (w *Walk) tree(what string, r *Row) {
	if w.treeLost || r.Leaf != w.Edge.Size {
		return // something is missing, which was said, and with it what to compare with
	}
	if want := ledger.Completes(r.Leaf) * tlog.HashSize; len(r.Tree) != want {
		w.Complain("%s: it has %d bytes of hashes of the ledger's tree, want %d", what, len(r.Tree), want)
		w.treeLost = true
		return
	}
	w.Edge.Size++
	want := ledger.NewLeaf(r.Name, r.Number, r.Position, hex.EncodeToString(r.Hash), r.Withdrawn, w.authors, r.Reviewer, r.Reason, r.Time).Hash()
	for level := 0; ; level++ {
		h := tlog.Hash(r.Tree[level*tlog.HashSize:][:tlog.HashSize])
		if h != want {
			w.Complain("%s: hash %d of level %d of the ledger's tree is not what the log says", what, r.Leaf>>level, level)
		}
		if r.Leaf>>level&1 == 0 {
			w.Edge.Hashes = append(w.Edge.Hashes, h)
			return
		}
		last := len(w.Edge.Hashes) - 1
		want = tlog.NodeHash(w.Edge.Hashes[last], h)
		w.Edge.Hashes = w.Edge.Hashes[:last]
	}
}

// Demand says that a derived row should be there, Hold that it is. They are compared
// by sums of their hashes, so that neither order nor size matters. what is named where
// the sums differ.
func (w *Walk) Demand(what, row string) { w.sums[what] += maphash.String(w.seed, row) }

// Hold says that a derived row is there.
func (w *Walk) Hold(what, row string) { w.sums[what] -= maphash.String(w.seed, row) }

// Drop takes back what was demanded under a name.
func (w *Walk) Drop(what string) { delete(w.sums, what) }

// HoldSpan says that the row of a span is there.
func (w *Walk) HoldSpan(s Span) { w.Hold(string(s.Name), s.text()) }

// Derived compares what was demanded with what is there, and begins again.
func (w *Walk) Derived() {
	for _, what := range slices.Sorted(maps.Keys(w.sums)) {
		if w.sums[what] != 0 {
			w.Complain("%s: what it is listed by or refers to is not what the log says; rebuild the store", what)
		}
	}
	clear(w.sums)
}

// Release checks that a release names a position that there is.
func (w *Walk) Release(name string, position int64) {
	if position < 1 || position > w.Head.Position {
		w.Complain("release %s: it names position %d, the newest is %d", name, position, w.Head.Position)
	}
}

func (s *Span) text() string {
	return fmt.Sprint("span", s.Number, s.Since, s.Until, s.Leaf, s.Withdrawn)
}

// Order is the order that publications leave: numbers and positions without gaps,
// times that never go back and are one for a position, no withdrawal of what is not
// there. The zero Order is before the first revision.
type Order struct {
	position int64
	time     time.Time
	newest   map[specdata.Name]last
}

type last struct {
	number    int64
	withdrawn bool
}

// Next returns what is wrong with a revision that comes next.
func (o *Order) Next(name specdata.Name, number, position int64, withdrawn bool, at time.Time) (wrong []string) {
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	if o.newest == nil {
		o.newest = map[specdata.Name]last{}
	}
	before := o.newest[name]
	if number != before.number+1 {
		say("the revision before it is %d; they count without gaps", before.number)
	}
	if withdrawn && (before.number == 0 || before.withdrawn) {
		say("it withdraws what is not there")
	}
	if position != o.position && position != o.position+1 {
		say("position %d follows position %d; they count without gaps", position, o.position)
	}
	if o.position > 0 && (position == o.position && !at.Equal(o.time) || at.Before(o.time)) {
		say("time %s follows %s; its time is before that of the position before, or is not its position's", at.UTC().Format(time.RFC3339Nano), o.time.UTC().Format(time.RFC3339Nano))
	}
	o.newest[name], o.position, o.time = last{number, withdrawn}, position, at
	return wrong
}
