package draft

import (
	"slices"

	"proofload/specdata"
)

// withSeals adds to an order the gaskets and seals that it lays loose, each right
// behind the last thing that had to come away for it.
func (w *writer) withSeals(g *graph, acts []Undo) []Undo {
	acts = slices.Clone(acts)
	tried := map[string]bool{}
	for again := true; again; {
		again = false
		for i := range w.assembly.Parts {
			p := &w.assembly.Parts[i]
			t := specdata.Target("part:" + p.ID)
			if tried[p.ID] || at(acts, t) >= 0 || !w.laidLoose(p, acts) {
				continue
			}
			tried[p.ID], again = true, true
			order, ring := g.order(t, nil)
			if ring != nil {
				w.missing = append(w.missing, "how the "+specdata.InSentence(p.Title)+" is reached, which is renewed whenever what it seals is off: what is in front of it waits for each other; correct behind, held_by or joints in the assembly")
				continue
			}
			for _, t := range order {
				if at(acts, t) < 0 {
					acts = slices.Insert(acts, g.after(acts, t), Undo{t, g.title(t)})
				}
			}
		}
	}
	return acts
}

// laidLoose reports whether a part that is never refitted is loose once some acts are
// done: one of what it seals by the assembly is undone, or nothing held it but what
// stood in front of it and all of that is away. Brake pads and shoes stay in their
// carrier and are no seals.
func (w *writer) laidLoose(p *specdata.Part, acts []Undo) bool {
	away := func(id string) bool {
		return slices.ContainsFunc(acts, func(u Undo) bool {
			typ, other := u.Target.Split()
			return typ != "fastener" && typ != "clip" && other == id
		})
	}
	if len(p.Seals) > 0 {
		return slices.ContainsFunc(p.Seals, away)
	}
	if !p.Renew || p.Friction || p.Wheel || len(p.HeldBy) > 0 || !slices.ContainsFunc(p.Behind, away) {
		return false
	}
	a := w.assembly
	held := slices.ContainsFunc(a.Connections, func(c specdata.Connection) bool { return slices.Contains(c.Holds, p.ID) }) ||
		slices.ContainsFunc(a.Clips, func(c specdata.Clip) bool { return slices.Contains(c.Holds, p.ID) }) ||
		slices.ContainsFunc(a.Joints, func(j specdata.Joint) bool { return slices.Contains(j.Between, p.ID) })
	return !held && !slices.ContainsFunc(p.Behind, func(id string) bool {
		return !slices.ContainsFunc(acts, func(u Undo) bool { _, other := u.Target.Split(); return other == id })
	})
}

// at returns the index of the act that undoes a target, -1 if none does.
func at(acts []Undo, t specdata.Target) int {
	return slices.IndexFunc(acts, func(u Undo) bool { return u.Target == t })
}

// after returns where an act can stand at the earliest: behind the last of what must
// be away before it.
func (g *graph) after(acts []Undo, t specdata.Target) int {
	last := -1
	for _, n := range g.needs[t] {
		last = max(last, at(acts, n.target), at(acts, n.other))
	}
	return last + 1
}
