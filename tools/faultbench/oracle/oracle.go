// Package oracle says whether two versions of a procedure mean the same work. It is
// no linter and shares no code with one: it knows nothing of right and wrong. It
// expands both versions into events, and calls them one trace when they have the
// same events and every two events that touch the same thing come in the same
// order (a trace in the sense of Mazurkiewicz: acts that touch nothing in common
// may change places). What touches what comes from the assembly records.
//
// Events that leave no mark on the vehicle (inspecting, cleaning, marking, waiting,
// writing down) are not in the trace, unless a record asks for them (see settled). Two versions that differ in those alone are
// not judged: something is said less, or elsewhere, and no record says whether
// that matters.
package oracle

import (
	"maps"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Verdict says how two versions compare.
type Verdict string

// The verdicts.
const (
	Same      Verdict = "same"
	Changed   Verdict = "changed"
	NotJudged Verdict = "not judged"
)

// Judge compares two versions of a procedure.
func Judge(l library.Library, before, after *specdata.Procedure) Verdict {
	verdict := Same
	if lost(l, before, after) {
		return Changed
	}
	for _, v := range variants(l, before, after) {
		a, b := trace(l, before, v), trace(l, after, v)
		if a.drives() != b.drives() {
			// A drive more or less: no record asks for one.
			a, b, verdict = a.parked(), b.parked(), NotJudged
		}
		switch {
		case !a.sameWork(b):
			return Changed
		case slices.Equal(signatures(a.events, false), signatures(b.events, false)):
		case slices.Equal(names(a.events), names(b.events)):
			return Changed // the same looks, with other criteria or products
		default:
			verdict = NotJudged
		}
	}
	if verdict == Same && !slices.Equal(sentences(before), sentences(after)) {
		return Changed // what a reader reads
	}
	return verdict
}

// lost reports whether a step that some vehicle came to is one that none comes to any
// more: its option has a value that no vehicle knows.
func lost(l library.Library, before, after *specdata.Procedure) bool {
	reached := func(p *specdata.Procedure) map[string]bool {
		ids := map[string]bool{}
		for i := range p.Steps {
			s := &p.Steps[i]
			for _, a := range p.AppliesTo {
				ids[s.ID] = ids[s.ID] || known(library.Vehicle(l, a.Vehicle), s.Where)
			}
		}
		return ids
	}
	was, is := reached(before), reached(after)
	for id, yes := range was {
		if now, there := is[id]; yes && there && !now {
			return true
		}
	}
	return false
}

// known reports whether a vehicle has a value of every option that a step asks for.
func known(v *specdata.Vehicle, where map[string][]string) bool {
	for key, values := range where {
		if v == nil || !slices.ContainsFunc(values, func(value string) bool { return slices.Contains(v.Options[key], value) }) {
			return false
		}
	}
	return true
}

// SameWork compares what is done alone, whatever is written about it.
func SameWork(l library.Library, before, after *specdata.Procedure) bool {
	for _, v := range variants(l, before, after) {
		if !trace(l, before, v).sameWork(trace(l, after, v)) {
			return false
		}
	}
	return true
}

// drives counts the road tests.
func (r run) drives() int {
	n := 0
	for _, e := range r.events {
		if e.op.Do == specdata.RoadTest {
			n++
		}
	}
	return n
}

// parked is the run without its road tests.
func (r run) parked() run {
	return run{slices.DeleteFunc(slices.Clone(r.events), func(e event) bool { return e.op.Do == specdata.RoadTest }), r.settled}
}

// sameWork reports whether two runs are one trace and settle the same.
func (r run) sameWork(o run) bool {
	return slices.Equal(signatures(r.events, true), signatures(o.events, true)) && maps.Equal(orders(r.events), orders(o.events)) && slices.Equal(r.settled, o.settled)
}

// signatures lists, sorted, the events of the trace or those beside it.
func signatures(es []event, mark bool) []string {
	var s []string
	for _, e := range es {
		if e.marks == mark {
			s = append(s, e.signature())
		}
	}
	slices.Sort(s)
	return s
}

func names(es []event) []string {
	var s []string
	for _, e := range es {
		if !e.marks {
			s = append(s, e.name)
		}
	}
	slices.Sort(s)
	return s
}

// orders returns, for every thing, the order in which events change it, with what
// depends on it between two changes.
func orders(es []event) map[string]string {
	out, reads := map[string]string{}, map[string][]string{}
	flush := func(thing string) {
		slices.Sort(reads[thing])
		out[thing] += strings.Join(reads[thing], ",") + ";"
		reads[thing] = nil
	}
	for _, e := range es {
		if !e.marks {
			continue
		}
		for _, t := range e.writes {
			flush(t)
			out[t] += e.signature() + ";"
		}
		for _, t := range e.reads {
			if !slices.Contains(e.writes, t) {
				reads[t] = append(reads[t], e.signature())
			}
		}
	}
	for t := range reads {
		flush(t)
	}
	return out
}

// sentences is what a procedure says, whatever the order.
func sentences(p *specdata.Procedure) []string {
	var all []string
	for i := range p.Steps {
		all = append(all, p.Steps[i].Text)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// variants lists the vehicles with every combination of the options that either
// version asks about, at most 32.
func variants(l library.Library, ps ...*specdata.Procedure) []map[string]string {
	asked := map[string]bool{}
	vehicles := map[string]bool{}
	for _, p := range ps {
		for i := range p.Steps {
			for k := range p.Steps[i].Where {
				asked[k] = true
			}
		}
		for _, a := range p.AppliesTo {
			vehicles[a.Vehicle] = true
		}
	}
	var out []map[string]string
	for _, id := range slices.Sorted(maps.Keys(vehicles)) {
		vs := []map[string]string{{"": id}}
		v := library.Vehicle(l, id)
		for _, key := range slices.Sorted(maps.Keys(asked)) {
			if v == nil || len(v.Options[key]) == 0 {
				continue
			}
			var next []map[string]string
			for _, old := range vs {
				for _, value := range v.Options[key] {
					m := maps.Clone(old)
					m[key] = value
					next = append(next, m)
				}
			}
			vs = next
		}
		out = append(out, vs...)
	}
	return out[:min(len(out), 32)]
}
