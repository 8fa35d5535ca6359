package quick

import (
	"regexp/syntax"
	"slices"
)

// automaton is a deterministic automaton over ASCII made of a regular expression
// that is anchored at both ends. One step a byte, where package regexp takes some
// forty times as long on the short texts of records.
type automaton struct {
	// next holds the state after a byte; state 0 is the dead one.
	next   [][128]uint16
	accept []bool
}

// maxStates keeps a pattern with large counts from filling memory.
const maxStates = 1024

// newAutomaton returns nil when the expression is not anchored or makes too many states.
func newAutomaton(expr string) *automaton {
	re, err := syntax.Parse(expr, syntax.Perl)
	if err != nil {
		return nil
	}
	prog, err := syntax.Compile(re.Simplify())
	if err != nil || prog.StartCond()&syntax.EmptyBeginText == 0 {
		return nil
	}
	a := &automaton{}
	b := builder{prog: prog, ids: map[string]uint16{}}
	b.state(a, nil)
	start := b.closure([]uint32{uint32(prog.Start)}, syntax.EmptyBeginText)
	b.state(a, start)
	for id := 1; id < len(b.sets); id++ {
		for c := range 128 {
			var to []uint32
			for _, pc := range b.sets[id] {
				if in := &prog.Inst[pc]; consumes(in) && in.MatchRune(rune(c)) {
					to = append(to, in.Out)
				}
			}
			n := b.state(a, b.closure(to, 0))
			if len(b.sets) > maxStates {
				return nil
			}
			a.next[id][c] = n
		}
	}
	return a
}

func consumes(in *syntax.Inst) bool {
	switch in.Op {
	case syntax.InstRune, syntax.InstRune1, syntax.InstRuneAny, syntax.InstRuneAnyNotNL:
		return true
	}
	return false
}

type builder struct {
	prog *syntax.Prog
	sets [][]uint32
	ids  map[string]uint16
}

// state returns the number of a set of instructions, a new one if need be.
func (b *builder) state(a *automaton, set []uint32) uint16 {
	key := make([]byte, 0, 4*len(set))
	for _, pc := range set {
		key = append(key, byte(pc), byte(pc>>8), byte(pc>>16), byte(pc>>24))
	}
	if id, ok := b.ids[string(key)]; ok {
		return id
	}
	id := uint16(len(b.sets))
	b.ids[string(key)] = id
	b.sets = append(b.sets, set)
	a.next = append(a.next, [128]uint16{})
	end := b.closure(set, syntax.EmptyEndText)
	a.accept = append(a.accept, slices.ContainsFunc(end, func(pc uint32) bool { return b.prog.Inst[pc].Op == syntax.InstMatch }))
	return id
}

// closure follows everything that takes no character, under the given conditions.
func (b *builder) closure(set []uint32, cond syntax.EmptyOp) []uint32 {
	var out []uint32
	stack := slices.Clone(set)
	for len(stack) > 0 {
		pc := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if slices.Contains(out, pc) {
			continue
		}
		out = append(out, pc)
		switch in := &b.prog.Inst[pc]; in.Op {
		case syntax.InstAlt, syntax.InstAltMatch:
			stack = append(stack, in.Out, in.Arg)
		case syntax.InstCapture, syntax.InstNop:
			stack = append(stack, in.Out)
		case syntax.InstEmptyWidth:
			if syntax.EmptyOp(in.Arg)&^cond == 0 {
				stack = append(stack, in.Out)
			}
		}
	}
	slices.Sort(out)
	return out
}

func (a *automaton) match(ascii []byte) bool {
	s := uint16(1)
	for _, c := range ascii {
		if s = a.next[s][c&127]; s == 0 {
			return false
		}
	}
	return a.accept[s]
}
