package draft

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"proofload/specdata"
)

// maxOps is how many operations a sentence says at most.
const maxOps = 3

// words collects clauses with their operations and writes them as steps of at most
// maxOps operations, each for one set of options.
type words struct {
	w        *writer
	clauses  []string
	ops      []specdata.Operation
	cautions []specdata.Caution
	where    map[string][]string
	// said is the thing the last clause named, for which a pronoun stands.
	said string
	// later are clauses that follow the next act.
	later []laterOp
}

type laterOp struct {
	clause string
	op     specdata.Operation
}

// behind adds what follows the act just said.
func (b *words) behind() {
	for _, l := range b.later {
		b.add(l.clause, l.op)
	}
	b.later = nil
}

// add appends a clause. Its operations stay in one step; a clause that has a comma of
// its own is a sentence of its own.
func (b *words) add(clause string, ops ...specdata.Operation) {
	b.room(clause, len(ops))
	b.clauses, b.ops, b.said = append(b.clauses, clause), append(b.ops, ops...), ""
	if strings.Contains(clause, ", ") {
		b.flush()
	}
}

// of appends a clause about a thing: %s in it is the pronoun where the sentence has
// just named the thing, else its name.
func (b *words) of(name, pronoun, clause string, ops ...specdata.Operation) {
	b.room(clause, len(ops))
	word := name
	if b.said == name {
		word = pronoun
	}
	b.add(fmt.Sprintf(clause, word), ops...)
	if len(b.clauses) > 0 {
		b.said = name
	}
}

// room begins a new step where a clause does not fit into this one.
func (b *words) room(clause string, ops int) {
	if ops > 0 && len(b.ops)+ops > maxOps || strings.Contains(clause, ", ") {
		b.flush()
	}
}

// only makes what follows a matter of some options.
func (b *words) only(where map[string][]string) {
	if !maps.EqualFunc(b.where, where, slices.Equal[[]string]) {
		b.flush()
		b.where = where
	}
}

func (b *words) warn(c specdata.Caution) { b.cautions = append(b.cautions, c) }

// warnOnce warns where no step has warned of the hazard yet.
func (b *words) warnOnce(c specdata.Caution) {
	warned := func(cs []specdata.Caution) bool {
		return slices.ContainsFunc(cs, func(o specdata.Caution) bool { return o.Hazard == c.Hazard })
	}
	if !warned(b.cautions) && !slices.ContainsFunc(b.w.procedure.Steps, func(s specdata.Step) bool { return warned(s.Cautions) }) {
		b.warn(c)
	}
}

func (b *words) flush() {
	if len(b.clauses) == 0 {
		return
	}
	s := b.w.step(sentence(b.clauses), b.ops...)
	s.Cautions = b.cautions
	forOptions(s, b.where)
	b.clauses, b.ops, b.cautions, b.said = nil, nil, nil, ""
}

func (w *writer) step(text string, ops ...specdata.Operation) *specdata.Step {
	w.procedure.Steps = append(w.procedure.Steps, newStep(text, ops...))
	return &w.procedure.Steps[len(w.procedure.Steps)-1]
}

func newStep(text string, ops ...specdata.Operation) specdata.Step {
	return specdata.Step{Text: text, Operations: ops}
}

func op(v specdata.Verb, t specdata.Target) specdata.Operation {
	return specdata.Operation{Do: v, Target: t}
}

func with(o specdata.Operation, id string) specdata.Operation {
	o.With = id
	return o
}

func using(o specdata.Operation, tool string) specdata.Operation {
	o.Tool = tool
	return o
}

func accepting(o specdata.Operation, criterion string) specdata.Operation {
	o.Accept = criterion
	return o
}

func target(f *specdata.Fastener) specdata.Target { return specdata.Target("fastener:" + f.ID) }
