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
// unrolled, sides set. Expanding what an expansion describes changes nothing.
func Expand(p *specdata.Procedure, v Variant) []*Act {
	operations := 0
	index := make(map[string]int, len(p.Steps))
	for i := range p.Steps {
		index[p.Steps[i].ID] = i
		operations += len(p.Steps[i].Operations)
	}
	acts := make([]*Act, 0, operations)
	add := func(i, repeats int, side specdata.Side) {
		s := &p.Steps[i]
		if !covers(s.Where, v) {
			return
		}
		if side == "" {
			side = s.Side
		}
		ofStep := make([]Act, len(s.Operations))
		for j := range s.Operations {
			a := &ofStep[j]
			*a = Act{Operation: &s.Operations[j], Number: len(acts), StepIndex: i, OpIndex: j, Step: s, Side: side, Repeats: repeats}
			if a.Operation.Side != "" && repeats < 0 {
				a.Side = a.Operation.Side
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
			if p.Steps[k].Repeat == nil {
				add(k, i, r.Side)
			}
		}
	}
	return acts
}
