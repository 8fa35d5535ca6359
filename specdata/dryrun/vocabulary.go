// Package dryrun executes a procedure's operations on a model of the vehicle
// corner and keeps a ledger: every disturbing act opens an entry that a named act
// must close. "Taken off and never refitted" is computed here, not hoped.
//
// The vocabulary is one table, in table.go: what each verb acts on, refuses, needs,
// changes, opens and closes. The machine runs it, and the page of verbs is printed
// from it. It is common practice, no source, except where the table says otherwise.
package dryrun

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// Word is one row of the vocabulary: a verb on some types of target.
type Word struct {
	Verb    specdata.Verb
	Targets []string
	// Does says what is so after the act.
	Does string

	// refuses are states in which the act makes no sense; the first that holds is
	// reported, and the needs are not asked then.
	refuses []refusal
	// needs is what must be so before.
	needs []need
	// to is the state the target is in afterwards, Unknown where that does not change.
	to State
	// opens and closes are ledger entries of the target.
	opens  []opening
	closes []Debt
	// then does what a row cannot say.
	then func(*machine, *subject)
	// repeat says what it means to do the act again.
	repeat repeat
}

// refusal is a state in which an act makes no sense.
type refusal struct {
	when  func(*subject) bool
	cause Cause
	// found is the state found, "" for the words of the target's state.
	found string
	// need and mend say what must be so and what to write; {verb} in mend is that
	// verb on the act's target.
	need, mend string
}

// need is a precondition: words for people and the check that reports it.
type need struct {
	words string
	check func(*machine, *subject)
}

// opening is a ledger entry that an act opens, and how the thing is meanwhile.
type opening struct {
	debt  Debt
	words string
}

// repeat says what it means to do an act again.
type repeat uint8

const (
	// alters: the act's own refusals tell whether it was done already.
	alters repeat = iota
	// renews: worth doing again once anything else was done.
	renews
	// looks: worth doing again once anything was changed; looking changes nothing.
	looks
)

// Needs says what must be so before the act.
func (w *Word) Needs() string {
	var words []string
	for _, r := range w.refuses {
		if !slices.Contains(words, r.need) {
			words = append(words, r.need)
		}
	}
	for _, n := range w.needs {
		words = append(words, n.words)
	}
	return strings.Join(words, "; ")
}

// Opens lists the ledger entries that the act opens, and Closes those it closes.
func (w *Word) Opens() []Debt {
	var ds []Debt
	for _, o := range w.opens {
		ds = append(ds, o.debt)
	}
	return ds
}

// Closes lists the ledger entries that the act closes.
func (w *Word) Closes() []Debt { return slices.Clone(w.closes) }

// Vocabulary returns the rows in the order of specdata.Verbs.
func Vocabulary() []Word { return slices.Clone(table) }

// words finds the rows of a verb.
var words = func() map[specdata.Verb][]*Word {
	m := map[specdata.Verb][]*Word{}
	for i := range table {
		m[table[i].Verb] = append(m[table[i].Verb], &table[i])
	}
	return m
}()

// Describe returns the rows of a verb, none for a verb that the vocabulary lacks.
func Describe(v specdata.Verb) []*Word { return words[v] }

// row returns the row of a verb for a type of target, nil if it acts on no such target.
func row(v specdata.Verb, typ string) *Word {
	for _, w := range words[v] {
		if slices.Contains(w.Targets, typ) {
			return w
		}
	}
	return nil
}

// targetsOf lists every type of target that a verb acts on.
func targetsOf(v specdata.Verb) []string {
	var types []string
	for _, w := range words[v] {
		types = append(types, w.Targets...)
	}
	return types
}
