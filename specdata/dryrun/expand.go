package dryrun

import (
	"maps"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
)

// maxVariants bounds the runs of one procedure. A procedure that asks more
// questions than this is several procedures.
const maxVariants = 64

// maxActs bounds the acts of one run.
const maxActs = 5000

// Variants lists the variants a procedure must hold for: every vehicle it applies
// to, with every combination of the option values that its steps or the
// applicability of its assemblies and fasteners ask about. It gives at most 64.
func Variants(l library.Library, p *specdata.Procedure) []Variant {
	asked := map[string]bool{}
	for _, s := range p.Steps {
		for k := range s.Where {
			asked[k] = true
		}
	}
	keys := slices.Sorted(maps.Keys(asked))
	var out []Variant
	seen := map[string]bool{}
	for _, a := range p.AppliesTo {
		for _, v := range combine(l, a, keys) {
			if s := v.String(); !seen[s] && len(out) < maxVariants {
				seen[s] = true
				out = append(out, v)
			}
		}
	}
	return out
}

func combine(l library.Library, a specdata.Applies, keys []string) []Variant {
	vs := []Variant{{Vehicle: a.Vehicle}}
	vehicle := library.Vehicle(l, a.Vehicle)
	for _, k := range keys {
		values := a.Where[k]
		if len(values) == 0 && vehicle != nil {
			values = vehicle.Options[k]
		}
		if len(values) == 0 {
			continue
		}
		var next []Variant
		for _, v := range vs {
			for _, val := range values {
				if len(next) < maxVariants {
					next = append(next, Variant{v.Vehicle, append(slices.Clone(v.Options), Option{k, val})})
				}
			}
		}
		vs = next
	}
	return vs
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

// Expand gives the acts of a procedure for a variant: branches taken, repeats
// unrolled, sides set. Expanding what an expansion describes changes nothing. What
// repeats would bring beyond 5,000 acts is left out: that is no job but a slip or an
// attack, and the rules on saying things twice speak long before.
func Expand(p *specdata.Procedure, v Variant) []*Act {
	operations := 0
	index := make(map[string]int, len(p.Steps))
	for i := range p.Steps {
		index[p.Steps[i].ID] = i
		operations += len(p.Steps[i].Operations)
	}
	acts := make([]*Act, 0, operations)
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
			continue // the reader of the procedure is told by the rule on step references
		}
		for k := from; k <= to; k++ {
			if p.Steps[k].Repeat == nil && len(acts) < maxActs {
				add(k, i, r.Side)
			}
		}
	}
	return acts
}
