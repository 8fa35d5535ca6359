// Package index says by what a document is found. Every store derives its query
// tables from it, so that two stores holding the same documents find the same.
package index

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/act"
	"proofload/specdata/document"
	"proofload/specdata/lexicon"
	"proofload/specdata/wording"
)

// Edition counts up whenever Of gives something else for some document. A store
// that was filled by another edition rebuilds what it derived.
const Edition = 3

// Facts are what one document is found by.
type Facts struct {
	// Title and Detail are what a search shows: Detail distinguishes records of one title.
	Title, Detail string
	// Terms are what it is listed by, sorted, each once.
	Terms []Term
	// Words are what search matches, sorted, each once.
	Words []string
}

// Term is one property that records are listed by.
type Term struct {
	By    By
	Value string
}

// By is a sort of term. Its text is in stores.
type By string

// The sorts of terms. Vehicle is a vehicle of the applicability, Source the source
// that is cited, Reference the full name of any other record that is named.
const (
	Vehicle   By = "vehicle"
	Source    By = "source"
	Thread    By = "thread"
	Place     By = "place"
	Joint     By = "joint"
	Reference By = "reference"
)

// Key is the term as one text, for stores.
func (t Term) Key() string { return string(t.By) + "=" + t.Value }

// Of reads a document and returns its facts. The error, an ErrInvalid, says why the
// document is not one of the named record.
func Of(name specdata.Name, text []byte) (*Facts, error) {
	if name.IsAct() { // found in the log only
		a, err := act.Parse(name, text)
		if err != nil {
			return nil, fmt.Errorf("document of %s: %w: %v", name, store.ErrInvalid, err)
		}
		return &Facts{Title: a.Title, Detail: a.About}, nil
	}
	r, err := Decode(name, text)
	if err != nil {
		return nil, err
	}
	f := &Facts{Title: r.Header().Title}
	thread := ""
	var measures []string // texts by whose numbers and units it is found too
	switch r := r.(type) {
	case *specdata.Vehicle:
		f.Detail = strings.TrimSpace(r.Make + " " + r.Model)
	case *specdata.Fastener:
		f.Detail = r.Place
		f.add(Place, r.Place)
		f.add(Joint, string(r.Joint))
		if r.Thread != nil {
			thread = r.Thread.Designation
			f.add(Thread, thread)
		}
		measures = values(r)
	case *specdata.Assembly:
		f.Detail = r.Place
		f.add(Place, r.Place)
	case *specdata.Procedure:
		f.Detail = vehicles(r.AppliesTo)
	case *specdata.Source:
		f.Detail = r.Issuer
	}
	texts := []string{f.Title, f.Detail, thread}
	if name.Kind() == specdata.KindProcedure {
		texts = texts[:1] // its detail is ids
	}
	words := documentWords(texts...)
	for _, a := range specdata.AppliesOf(r) {
		f.add(Vehicle, a.Vehicle)
		words = append(words, VehicleWord(a.Vehicle))
	}
	if name.Kind() == specdata.KindVehicle {
		words = append(words, VehicleWord(name.ID()))
	}
	for _, text := range texts[:min(2, len(texts))] { // the thread is one word
		words = append(words, lexicon.Default().Searched(text)...)
	}
	for _, text := range measures {
		words = append(words, lexicon.Default().Measures(text)...)
		words = append(words, bare(text)...)
	}
	f.Words = cleaned(words)
	if c := specdata.CitationOf(r); c != nil {
		f.add(Source, c.Document)
	}
	for _, ref := range specdata.Referred(r) {
		if !f.HasAny(Referring(ref)) {
			f.add(Reference, string(ref))
		}
	}
	slices.SortFunc(f.Terms, func(a, b Term) int { return cmp.Or(cmp.Compare(a.By, b.By), cmp.Compare(a.Value, b.Value)) })
	f.Terms = slices.Compact(f.Terms)
	return f, nil
}

// values lists the sizes and torques of a fastener as people search for them.
func values(f *specdata.Fastener) []string {
	var out []string
	if f.Drive != nil {
		out = append(out, f.Drive.Head, f.Drive.Nut)
	}
	if f.Tightening != nil {
		for i := range f.Tightening.Stages {
			s := &f.Tightening.Stages[i]
			if s.Torque.IsZero() {
				continue
			}
			// As shown, as recorded and as printed beside it; one bracket parts from the other.
			out = append(out, wording.Torque(s.Torque, s.UpTo), specdata.Display(s.Torque), specdata.Display(s.Also), specdata.Display(s.UpTo))
		}
	}
	return out
}

// bare returns what people type of a size or a torque without its form or unit: the number
// ("110"), the size of a lobe ("t50"), and the tool that open flats want.
func bare(text string) []string {
	var out []string
	for _, w := range strings.Fields(text) {
		w = strings.ToLower(strings.Trim(w, "(),"))
		if digits := strings.TrimLeft(w, "te"); digits != "" && len(w)-len(digits) <= 1 && isDigits(digits) {
			out = append(out, w)
		}
	}
	if strings.HasPrefix(text, "flats ") {
		out = append(out, lexicon.Key("crow-foot"))
	}
	return out
}

// VehicleWord is the word by which everything of one vehicle is found.
func VehicleWord(id string) string { return lexicon.Key("vehicle-" + id) }

// cleaned returns words in the form that searches are cut into, sorted, each once.
func cleaned(words []string) []string {
	var out []string
	for _, w := range words {
		out = appendWords(out, w)
	}
	slices.Sort(out)
	return out
}

func (f *Facts) add(by By, value string) {
	if value != "" {
		f.Terms = append(f.Terms, Term{by, value})
	}
}

// Has reports whether the document is listed by all of some terms.
func (f *Facts) Has(terms []Term) bool {
	for _, t := range terms {
		if !slices.Contains(f.Terms, t) {
			return false
		}
	}
	return true
}

// HasAny reports whether the document is listed by any of some terms.
func (f *Facts) HasAny(terms []Term) bool {
	return slices.ContainsFunc(terms, func(t Term) bool { return slices.Contains(f.Terms, t) })
}

// Referring returns the terms of which every document has one that refers to a record.
func Referring(name specdata.Name) []Term {
	ts := []Term{{Reference, string(name)}}
	switch name.Kind() {
	case specdata.KindVehicle:
		ts = append(ts, Term{Vehicle, name.ID()})
	case specdata.KindSource:
		ts = append(ts, Term{Source, name.ID()})
	}
	return ts
}

// Matches reports whether search finds the document by all of some words.
func (f *Facts) Matches(words []string) bool {
	for _, w := range words {
		if _, ok := slices.BinarySearch(f.Words, w); !ok {
			return false
		}
	}
	return true
}

// Filters returns the terms that a query asks for, the one that is likely to leave the
// fewest records first.
func Filters(q store.Query) []Term {
	var f Facts
	f.add(Vehicle, q.Vehicle)
	f.add(Source, q.Source)
	f.add(Thread, q.Thread)
	f.add(Place, q.Place)
	f.add(Joint, q.Joint)
	return f.Terms
}

// Decode reads a stored document as the record it is stored under. It does not
// judge the document again: what may be published was decided before, perhaps by an
// older schema. The error, an ErrInvalid, says why the document is not one of the
// named record.
func Decode(name specdata.Name, text []byte) (specdata.Record, error) {
	r, err := document.Decode(name.Kind(), text)
	if err != nil {
		return nil, fmt.Errorf("document of %s: %w: %v", name, store.ErrInvalid, err)
	}
	if r.Name() != name {
		return nil, fmt.Errorf("document of %s: %w: it is of %s; publish it under its own name", name, store.ErrInvalid, r.Name())
	}
	return r, nil
}

func vehicles(as []specdata.Applies) string {
	var ids []string
	for _, a := range as {
		if !slices.Contains(ids, a.Vehicle) {
			ids = append(ids, a.Vehicle)
		}
	}
	return strings.Join(ids, ", ")
}
