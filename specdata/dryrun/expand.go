package dryrun

import (
	"fmt"
	"maps"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
)

const (
	// maxListed bounds the variants that a reader can pick from, maxRuns those that
	// one call of Run executes, and maxActs the acts of one of them. What is beyond a
	// bound is reported as CauseUncovered, never left out in silence.
	maxListed = 4096
	maxRuns   = 512
	maxActs   = 5000
	// manyRuns is up to how many variants each is run under its own name. Beyond it
	// variants that run alike are run once.
	manyRuns = 64
)

// Variants returns the variants a reader of a procedure can pick from: every vehicle
// it applies to, with every combination of the option values that its steps ask
// about. It returns at most 4,096; Run reports a procedure with more.
func Variants(l library.Library, p *specdata.Procedure) []Variant {
	vs, _ := combinations(l, p, askedBy(p, func(*specdata.Step) bool { return true }), maxListed, nil)
	return vs
}

// askedBy returns the option keys that the steps of a sort ask about, in order.
func askedBy(p *specdata.Procedure, sort func(*specdata.Step) bool) []string {
	asked := map[string]bool{}
	for i := range p.Steps {
		if s := &p.Steps[i]; len(s.Where) > 0 && sort(s) {
			for k := range s.Where {
				asked[k] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(asked))
}

// cases returns the variants that Run executes, and how many combinations there are
// that it does not. Where there are many, only options that change what happens are
// told apart: those of steps that do more than look or note, and of the values of an
// option one of each that all steps and records treat alike.
func cases(l library.Library, p *specdata.Procedure) (vs []Variant, beyond int) {
	vs, beyond = combinations(l, p, askedBy(p, func(*specdata.Step) bool { return true }), manyRuns, nil)
	if beyond == 0 {
		return vs, 0
	}
	return combinations(l, p, askedBy(p, changes), maxRuns, alike(l, p))
}

// changes reports whether a step does anything that the run can tell.
func changes(s *specdata.Step) bool {
	return s.Repeat != nil || slices.ContainsFunc(s.Operations, func(o specdata.Operation) bool {
		typ, _ := o.Target.Split()
		w := row(o.Do, typ)
		return w == nil || w.repeat == alters || w.then != nil
	})
}

// combinations returns the combinations of the values of keys, at most a number of
// them, and how many more there are. like, if not nil, says of two values of a key
// whether they make no difference.
func combinations(l library.Library, p *specdata.Procedure, keys []string, most int, like func(key, a, b string) bool) (vs []Variant, beyond int) {
	seen := map[string]bool{}
	for _, a := range p.AppliesTo {
		n := 1
		values := make([][]string, len(keys))
		for i, k := range keys {
			values[i] = valuesOf(l, a, k, like)
			if len(values[i]) > 0 && n < 1<<30 {
				n *= len(values[i])
			}
		}
		for c := range n {
			rest := n - c
			v := Variant{Vehicle: a.Vehicle}
			for i, k := range keys {
				if m := len(values[i]); m > 0 {
					v.Options = append(v.Options, Option{k, values[i][0]})
				}
			}
			// The last key varies fastest, as it is read.
			for i, at := len(keys)-1, len(v.Options)-1; i >= 0; i-- {
				if m := len(values[i]); m > 0 {
					v.Options[at].Value = values[i][c%m]
					c /= m
					at--
				}
			}
			s := v.String()
			if seen[s] {
				continue
			}
			if len(vs) == most {
				beyond += rest
				break
			}
			seen[s] = true
			vs = append(vs, v)
		}
	}
	return vs, beyond
}

// valuesOf returns the values of an option that a clause admits, one of those alike.
func valuesOf(l library.Library, a specdata.Applies, key string, like func(key, a, b string) bool) []string {
	values := a.Where[key]
	if vehicle := library.Vehicle(l, a.Vehicle); len(values) == 0 && vehicle != nil {
		values = vehicle.Options[key]
	}
	if like == nil {
		return values
	}
	var kept []string
	for _, v := range values {
		if !slices.ContainsFunc(kept, func(o string) bool { return like(key, o, v) }) {
			kept = append(kept, v)
		}
	}
	return kept
}

// alike returns whether two values of an option are admitted by the same steps,
// assemblies and fasteners of a procedure.
func alike(l library.Library, p *specdata.Procedure) func(key, a, b string) bool {
	lists := map[string][][]string{}
	note := func(where map[string][]string) {
		for k, values := range where {
			lists[k] = append(lists[k], values)
		}
	}
	for i := range p.Steps {
		note(p.Steps[i].Where)
	}
	for _, id := range p.Assemblies {
		a := library.Assembly(l, id)
		if a == nil {
			continue
		}
		for _, c := range a.AppliesTo {
			note(c.Where)
		}
		for _, ids := range a.HeldBy() {
			for _, id := range ids {
				if f := library.Fastener(l, id); f != nil {
					for _, c := range f.AppliesTo {
						note(c.Where)
					}
				}
			}
		}
	}
	return func(key, a, b string) bool {
		return !slices.ContainsFunc(lists[key], func(values []string) bool {
			return slices.Contains(values, a) != slices.Contains(values, b)
		})
	}
}

// covers reports whether a step's restriction admits the variant. A key the
// variant does not know restricts nothing: the vehicle has no such option.
func covers(where map[string][]string, v Variant) bool {
	for _, o := range v.Options {
		if vals, ok := where[o.Key]; ok && !slices.Contains(vals, o.Value) {
			return false
		}
	}
	return true
}

// Expand returns the acts of a procedure for a variant: branches taken, repeats
// unrolled, sides set. Expanding what an expansion describes changes nothing. Repeats
// bring at most 5,000 acts; a run reports what they would bring beyond.
func Expand(p *specdata.Procedure, v Variant) []*Act {
	acts, _ := expand(p, v)
	return acts
}

// expand is Expand with the repeats that were not unrolled, or not whole.
func expand(p *specdata.Procedure, v Variant) (acts []*Act, cut []Problem) {
	operations := 0
	index := make(map[string]int, len(p.Steps))
	for i := range p.Steps {
		index[p.Steps[i].ID] = i
		operations += len(p.Steps[i].Operations)
	}
	acts = make([]*Act, 0, operations)
	spare := make([]Act, operations) // more only for repeats
	add := func(i, repeats int, side specdata.Side) {
		s := &p.Steps[i]
		if !covers(s.Where, v) {
			return
		}
		if side == "" {
			side = s.Side
		}
		if len(spare) < len(s.Operations) {
			spare = make([]Act, len(s.Operations))
		}
		for j := range s.Operations {
			a := &spare[0]
			spare = spare[1:]
			op := &s.Operations[j]
			*a = Act{Operation: op, Number: len(acts), StepIndex: i, OpIndex: j, Step: s, Side: side, Repeats: repeats}
			a.typ, a.id = op.Target.Split()
			if op.Side != "" && repeats < 0 {
				a.Side = op.Side
			}
			acts = append(acts, a)
		}
	}
	for i := range p.Steps {
		add(i, -1, "")
		r := p.Steps[i].Repeat
		if r == nil || !covers(p.Steps[i].Where, v) {
			continue
		}
		from, okFrom := index[r.From]
		to, okTo := index[r.To]
		if !okFrom || !okTo || from > to || to >= i {
			continue // reported by repeat-out-of-order
		}
		for k := from; k <= to; k++ {
			switch {
			case p.Steps[k].Repeat != nil: // reported by repeat-does-not-mirror
			case len(acts) >= maxActs:
				cut = append(cut, uncovered(specdata.At("/steps", i, "repeat"), fmt.Sprintf("the repeats bring more than %d acts, and the dry run ends there", maxActs), "repeat fewer steps, or split the procedure"))
				return acts, cut
			default:
				add(k, i, r.Side)
			}
		}
	}
	return acts, cut
}

// uncovered returns the problem of something that the dry run does not cover.
func uncovered(pointer, what, mend string) Problem {
	return Problem{Cause: CauseUncovered, Pointer: pointer, Found: what, Mend: mend}
}
