// Package draft turns an assembly and the part to free into a first procedure:
// the shortest admissible dismantling order, then the way back, with what the
// records know filled in: variants, aids, seals, circuits, electrics, follow-ups.
// What the records do not say is listed as missing. A person edits from there.
package draft

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// ExactJoints is up to how many press fits with a choice the shortest order is found
// by looking at every choice. Beyond it the order is the best one found, and
// Order.Exact is false. No other joint has a choice: see newGraph.
const ExactJoints = 10

// Undo is one act of dismantling: a target taken off, apart, undone or open.
type Undo struct {
	Target specdata.Target
	Title  string
}

// Order is a dismantling order.
type Order struct {
	Acts []Undo
	// Exact says that no shorter admissible order exists.
	Exact bool
}

// Blocked says why a part cannot be freed: a ring of things each of which must
// come away before the next.
type Blocked struct {
	Part string
	Ring []string
}

// Error implements error.
func (b *Blocked) Error() string {
	return fmt.Sprintf("part %s cannot be freed: %s; correct behind, held_by or joints in the assembly, or free something else first", b.Part, strings.Join(b.Ring, " waits for "))
}

// graph is what must come away before what.
type graph struct {
	titles map[specdata.Target]string
	// needs lists, in the order a person would take them, what must be away before a target comes away.
	needs map[specdata.Target][]need
	// byID finds a thing's target by its bare id.
	byID map[string]specdata.Target
	// lacking lists, by target, the fasteners that hold it and are not in the library.
	lacking map[specdata.Target][]string
}

// need is one target, or a choice between two where joint is set: part a joint,
// or let it come away with its other part.
type need struct {
	target, other specdata.Target
}

func newGraph(l library.Library, a *specdata.Assembly, clauses []specdata.Applies) *graph {
	g := &graph{titles: map[specdata.Target]string{}, needs: map[specdata.Target][]need{}, byID: map[string]specdata.Target{}, lacking: map[specdata.Target][]string{}}
	name := func(typ, id, title string) specdata.Target {
		t := specdata.Target(typ + ":" + id)
		g.titles[t] = title
		if typ != "fastener" {
			g.byID[id] = t
		}
		return t
	}
	for _, p := range a.Parts {
		name("part", p.ID, p.Title)
	}
	for _, j := range a.Joints {
		name("joint", j.ID, j.Title)
	}
	for _, c := range a.Connections {
		name("connection", c.ID, c.Title)
	}
	for _, c := range a.Clips {
		name("clip", c.ID, c.Title)
	}
	common := func(t specdata.Target, behind, heldBy []string) {
		for _, id := range behind {
			if other, ok := g.byID[id]; ok {
				g.needs[t] = append(g.needs[t], need{target: other})
			}
		}
		for _, id := range heldBy {
			f := library.Fastener(l, id)
			if f == nil {
				g.lacking[t] = append(g.lacking[t], id)
			}
			if f == nil || !applies(f.AppliesTo, clauses) {
				continue
			}
			g.needs[t] = append(g.needs[t], need{target: name("fastener", id, f.Title)})
		}
	}
	for _, c := range a.Connections {
		t := specdata.Target("connection:" + c.ID)
		common(t, c.Behind, c.HeldBy)
	}
	for _, c := range a.Clips {
		common(specdata.Target("clip:"+c.ID), c.Behind, nil)
	}
	for _, j := range a.Joints {
		common(specdata.Target("joint:"+j.ID), j.Behind, j.HeldBy)
	}
	for _, p := range a.Parts {
		t := specdata.Target("part:" + p.ID)
		common(t, p.Behind, nil)
		for _, c := range a.Clips {
			if slices.Contains(c.Holds, p.ID) {
				g.needs[t] = append(g.needs[t], need{target: specdata.Target("clip:" + c.ID)})
			}
		}
		for _, c := range a.Connections {
			if slices.Contains(c.Holds, p.ID) {
				g.needs[t] = append(g.needs[t], need{target: specdata.Target("connection:" + c.ID)})
			}
		}
		for _, j := range a.Joints {
			if !slices.Contains(j.Between, p.ID) || comesAlong(a, j, p.ID) {
				continue
			}
			// The part may also come away with the other part of the joint. That saves
			// nothing where the other part needs the joint apart itself, so only a press
			// fit that carries this part along has a choice.
			n := need{target: specdata.Target("joint:" + j.ID)}
			for _, id := range j.Between {
				if id != p.ID && g.byID[id] != "" && comesAlong(a, j, id) {
					n.other = g.byID[id]
				}
			}
			g.needs[t] = append(g.needs[t], n)
		}
		common(t, nil, p.HeldBy)
	}
	return g
}

// comesAlong reports whether the other part of a pressed joint is held by nothing
// else: it comes away with the part and is no obstacle.
func comesAlong(a *specdata.Assembly, j specdata.Joint, part string) bool {
	if j.Kind != "press" {
		return false
	}
	carried := func(id string) bool {
		return slices.ContainsFunc(a.Connections, func(c specdata.Connection) bool { return slices.Contains(c.Holds, id) }) ||
			slices.ContainsFunc(a.Clips, func(c specdata.Clip) bool { return slices.Contains(c.Holds, id) }) ||
			slices.ContainsFunc(a.Joints, func(o specdata.Joint) bool { return o.ID != j.ID && slices.Contains(o.Between, id) })
	}
	for _, p := range a.Parts {
		if p.ID != part && slices.Contains(j.Between, p.ID) && (len(p.HeldBy) > 0 || carried(p.ID)) {
			return false
		}
	}
	return true
}

// applies reports whether a record is for some of what the clauses are for, on any side.
func applies(as, clauses []specdata.Applies) bool {
	return slices.ContainsFunc(as, func(a specdata.Applies) bool {
		return slices.ContainsFunc(clauses, func(c specdata.Applies) bool {
			c.Side = a.Side
			return a.Overlap(c)
		})
	})
}

// shortest returns the dismantling order with the fewest acts that frees a target.
func (g *graph) shortest(goal specdata.Target) (Order, error) {
	choices := g.choices(goal)
	exact := len(choices) <= ExactJoints
	var best []specdata.Target
	try := func(takeOther map[need]bool) {
		if order, ring := g.order(goal, takeOther); ring == nil && (best == nil || len(order) < len(best)) {
			best = order
		}
	}
	if exact {
		for mask := range 1 << len(choices) {
			takeOther := map[need]bool{}
			for i, c := range choices {
				takeOther[c] = mask>>i&1 == 1
			}
			try(takeOther)
		}
	} else {
		// Start from parting every joint and keep each change that shortens the order.
		takeOther := map[need]bool{}
		try(takeOther)
		for _, c := range choices {
			before := best
			takeOther[c] = true
			try(takeOther)
			if best == nil || len(best) == len(before) && before != nil {
				takeOther[c] = false
			}
		}
	}
	if best == nil {
		_, ring := g.order(goal, nil)
		b := &Blocked{Part: string(goal)}
		for _, t := range ring {
			b.Ring = append(b.Ring, g.title(t))
		}
		return Order{}, b
	}
	o := Order{Exact: exact}
	for _, t := range best {
		o.Acts = append(o.Acts, Undo{t, g.titles[t]})
	}
	return o, nil
}

// choices lists the joints with a choice that can matter to a goal.
func (g *graph) choices(goal specdata.Target) []need {
	var out []need
	seen := map[specdata.Target]bool{}
	var visit func(t specdata.Target)
	visit = func(t specdata.Target) {
		if seen[t] {
			return
		}
		seen[t] = true
		for _, n := range g.needs[t] {
			visit(n.target)
			if n.other != "" {
				out = append(out, n)
				visit(n.other)
			}
		}
	}
	visit(goal)
	return out
}

// order returns everything that must come away for a goal, each before what waits
// for it, with a choice made at each joint. It returns the ring where there is none.
func (g *graph) order(goal specdata.Target, takeOther map[need]bool) (order, ring []specdata.Target) {
	const open, done = 1, 2
	mark := map[specdata.Target]int{}
	var path []specdata.Target
	var visit func(t specdata.Target) bool
	visit = func(t specdata.Target) bool {
		switch mark[t] {
		case done:
			return true
		case open:
			ring = append(slices.Clone(path[slices.Index(path, t):]), t)
			return false
		}
		mark[t] = open
		path = append(path, t)
		for _, n := range g.needs[t] {
			next := n.target
			if n.other != "" && takeOther[n] {
				next = n.other
			}
			if !visit(next) {
				return false
			}
		}
		path = path[:len(path)-1]
		mark[t] = done
		order = append(order, t)
		return true
	}
	if !visit(goal) {
		return nil, ring
	}
	return order, nil
}

// unknown says which fasteners of some acts are not in the library, in words.
func (g *graph) unknown(acts []Undo) []string {
	var said []string
	for _, u := range acts {
		for _, id := range g.lacking[u.Target] {
			said = append(said, "fastener "+id+", which holds the "+specdata.InSentence(u.Title)+" and is not in the library: neither its undoing nor its tightening is in the draft; enter its record")
		}
	}
	return said
}

func (g *graph) title(t specdata.Target) string {
	if s := g.titles[t]; s != "" {
		return s
	}
	return string(t)
}
