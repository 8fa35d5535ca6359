package change

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"proofload/specdata"
)

// How says what happened to a record.
type How string

// What can happen to a record between two moments.
const (
	Added     How = "added"
	Changed   How = "changed"
	Removed   How = "removed"   // it is not in the second library at all
	Withdrawn How = "withdrawn" // it is there, and says that it no longer holds
	Revived   How = "revived"   // it was withdrawn and holds again
)

// State is what a record is at one moment.
type State struct {
	// Document is its JSON document, nil where there is no such record.
	Document  []byte
	Withdrawn bool
}

// Record is what differs between two states of a record.
type Record struct {
	Name  specdata.Name
	Title string
	How   How
	// Fields are what differs, in order of pointer; none for a record that came or went whole.
	Fields []Field
	// Moves are the values of a tightening that differ, in order of stage.
	Moves []Move
	// Safety is why a wrong value can hurt someone, as either state says it; "" is no known way.
	Safety string
}

// Of compares two states of a record. It returns nil where they are the same. The
// error says which document cannot be read.
func Of(name specdata.Name, old, new State) (*Record, error) {
	r := &Record{Name: name}
	switch {
	case old.Document == nil && new.Document == nil, old.Withdrawn && new.Withdrawn, old.Document == nil && new.Withdrawn, new.Document == nil && old.Withdrawn:
		return nil, nil
	case old.Document == nil:
		r.How = Added
	case new.Document == nil:
		r.How = Removed
	case new.Withdrawn:
		r.How = Withdrawn
	case old.Withdrawn:
		r.How = Revived
	default:
		r.How = Changed
	}
	before, err := decode(name, "old", old.Document)
	if err != nil {
		return nil, err
	}
	after, err := decode(name, "new", new.Document)
	if err != nil {
		return nil, err
	}
	switch {
	case after != nil:
		r.Title = after.Header().Title
	case before != nil:
		r.Title = before.Header().Title
	}
	of, _ := before.(*specdata.Fastener)
	nf, _ := after.(*specdata.Fastener)
	r.Safety = Safety(of, nf)
	if r.How != Changed && r.How != Revived {
		return r, nil
	}
	if r.Fields, err = Fields(old.Document, new.Document); err != nil {
		return nil, fmt.Errorf("record %s: %w", name, err)
	}
	if len(r.Fields) == 0 && r.How == Changed {
		return nil, nil
	}
	r.Moves = Moves(of, nf)
	return r, nil
}

func decode(name specdata.Name, which string, doc []byte) (specdata.Record, error) {
	if doc == nil {
		return nil, nil
	}
	r := specdata.New(name.Kind())
	if r == nil {
		return nil, fmt.Errorf("record %s is of no known kind; names are <collection>/<id>", name)
	}
	if err := json.Unmarshal(doc, r); err != nil {
		return nil, fmt.Errorf("record %s: %s document cannot be read: %w", name, which, err)
	}
	return r, nil
}

// Safety returns why a wrong value of a fastener can hurt someone, as the newer state
// says it, else the older: a change that drops the word is as urgent as any. States
// that are not there are nil.
func Safety(old, new *specdata.Fastener) string {
	if new != nil && new.Safety != "" {
		return new.Safety
	}
	if old != nil {
		return old.Safety
	}
	return ""
}

// Furthest returns the largest relative move of a tightening torque, with its sign;
// 0 where none moved.
func (r *Record) Furthest() float64 {
	var most float64
	for i := range r.Moves {
		if m := &r.Moves[i]; m.Torque() && math.Abs(m.Ratio) > math.Abs(most) {
			most = m.Ratio
		}
	}
	return most
}

// Sort puts the most urgent first: what can hurt someone, then what moved furthest,
// then by name.
func Sort(rs []*Record) {
	slices.SortFunc(rs, Compare)
}

// Compare orders two records as Sort does.
func Compare(a, b *Record) int {
	return cmp.Or(
		-compareBool(a.Safety != "", b.Safety != ""),
		-cmp.Compare(math.Abs(a.Furthest()), math.Abs(b.Furthest())),
		-compareBool(len(a.Moves) > 0, len(b.Moves) > 0),
		cmp.Compare(a.Name, b.Name),
	)
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}
