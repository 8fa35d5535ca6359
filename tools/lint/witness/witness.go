// Package witness says of each fact of a fastener who would notice if it were wrong:
// it changes the fact in every way it can be misread or mistyped, runs the rules over
// the record as it would then stand, and lists those that speak. A fact that some
// mistake leaves without a witness rests on the one person who read it.
package witness

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

// Kind is the sort of evidence that notices a mistake.
type Kind string

// The kinds of witness, as they are listed.
const (
	Mechanics Kind = "mechanics" // thread, class and torque do not go together
	Siblings  Kind = "siblings"  // other fasteners of the same thread differ
	Pair      Kind = "pair"      // the other side or the other record of the joint differs
	Print     Kind = "print"     // the quote or the second printed unit differs
	Use       Kind = "use"       // a procedure or an assembly that uses it contradicts
	Sentence  Kind = "sentence"  // a text contradicts
	Record    Kind = "record"    // the record contradicts itself
)

// Fact is one fact of a record and what became of its mistakes.
type Fact struct {
	// At is its JSON pointer, Name what it is, Value what it says.
	At, Name, Value string
	// Tried counts the mistakes, Seen those that an error or a warning meets.
	Tried, Seen int
	// By counts the mistakes that each kind of witness noticed.
	By map[Kind]int
	// Unseen says the mistakes that nobody notices.
	Unseen []string
	// SecondReader names who read it back, "" where nobody did.
	SecondReader string
}

// Stands reports whether every mistake that was tried has a witness.
func (f *Fact) Stands() bool { return f.Seen == f.Tried }

// mistake is a record with one fact wrong.
type mistake struct {
	what   string
	record *specdata.Fastener
}

// Of returns the facts of a fastener in the order of the record. The library is
// that of the record, as it is. The error is of the rules, or the end of the context.
func Of(ctx context.Context, lib library.Library, rules []*lint.Rule, date time.Time, name specdata.Name) ([]Fact, error) {
	e := lib.Get(name)
	if e == nil {
		return nil, fmt.Errorf("record %s is not in the library", name)
	}
	f, ok := e.Record.(*specdata.Fastener)
	if !ok {
		return nil, fmt.Errorf("record %s is a %s; witnesses are asked for fasteners", name, e.Record.Header().Kind)
	}
	users := slices.DeleteFunc(slices.Clone(lib.Uses(name)), func(n specdata.Name) bool { return n.Kind() == specdata.KindSource })
	w := &asker{ctx: ctx, lib: lib, rules: rules, date: date, name: name, only: append([]specdata.Name{name}, users...)}
	if err := w.before(); err != nil {
		return nil, err
	}
	var out []Fact
	for _, fact := range factsOf(f) {
		for _, m := range fact.mistakes(f) {
			if err := w.ask(&fact.Fact, m); err != nil {
				return nil, err
			}
		}
		if fact.Tried == 0 {
			continue
		}
		if f.Source != nil {
			fact.SecondReader = f.Source.CheckedBy
		}
		out = append(out, fact.Fact)
	}
	return out, nil
}

// asker runs the rules over one record and what uses it.
type asker struct {
	ctx   context.Context
	lib   library.Library
	rules []*lint.Rule
	date  time.Time
	name  specdata.Name
	only  []specdata.Name
	known map[string]bool
}

func (w *asker) run(lib library.Library) (*lint.Report, error) {
	return lint.Run(w.ctx, lint.Options{Rules: w.rules, Library: lib, Only: w.only, Date: w.date})
}

// before notes what is said of the record as it is.
func (w *asker) before() error {
	rep, err := w.run(w.lib)
	if err != nil {
		return err
	}
	w.known = map[string]bool{}
	for _, f := range rep.Findings {
		w.known[string(f.Record)+f.Rule+f.Pointer] = true
	}
	return nil
}

func (w *asker) ask(f *Fact, m mistake) error {
	f.Tried++
	text, err := document.Canonical(m.record)
	if err != nil {
		return err
	}
	doc, err := document.ReadCanonical(text)
	if err != nil { // the form itself refuses it
		f.Seen++
		f.note(Record)
		return nil
	}
	rep, err := w.run(library.Overlay(w.lib, library.NewEntry(doc)))
	if err != nil {
		return err
	}
	kinds := map[Kind]bool{}
	for _, found := range rep.Findings {
		if found.Severity.Rank() >= specdata.Warning.Rank() && !w.known[string(found.Record)+found.Rule+found.Pointer] {
			kinds[w.kind(found)] = true
		}
	}
	if len(kinds) == 0 {
		f.Unseen = append(f.Unseen, m.what)
		return nil
	}
	f.Seen++
	for k := range kinds {
		f.note(k)
	}
	return nil
}

func (f *Fact) note(k Kind) {
	if f.By == nil {
		f.By = map[Kind]int{}
	}
	f.By[k]++
}

// kind says what sort of evidence a finding rests on.
func (w *asker) kind(f specdata.Finding) Kind {
	switch {
	case f.Record != w.name:
		return Use
	case strings.HasPrefix(f.Rule, "pair-") || f.Rule == "same-joint-two-values" || f.Rule == "handed-detail-copied" || f.Rule == "one-side-only":
		return Pair
	case strings.HasPrefix(f.Rule, "quote-") || f.Rule == "printed-pair-disagrees":
		return Print
	case f.Rule == "value-looks-like-another-unit" || f.Rule == "row-out-of-line" || f.Rule == "stage-missing-beside-siblings":
		return Siblings
	}
	i := slices.IndexFunc(w.rules, func(r *lint.Rule) bool { return r.Name == f.Rule })
	if i >= 0 {
		switch w.rules[i].Protects {
		case lint.Joint:
			return Mechanics
		case lint.Words:
			return Sentence
		}
	}
	return Record
}

// Kinds lists the kinds that noticed something, the busiest first.
func (f *Fact) Kinds() []Kind {
	var ks []Kind
	for _, k := range []Kind{Mechanics, Siblings, Pair, Print, Use, Sentence, Record} {
		if f.By[k] > 0 {
			ks = append(ks, k)
		}
	}
	slices.SortStableFunc(ks, func(a, b Kind) int { return f.By[b] - f.By[a] })
	return ks
}
