package specdata

import "iter"

// Things returns the type and the id of everything in the assembly that an
// operation can name: part, joint, connection, clip and circuit.
func (a *Assembly) Things() iter.Seq2[string, string] {
	return func(yield func(typ, id string) bool) {
		for i := range a.Parts {
			if !yield("part", a.Parts[i].ID) {
				return
			}
		}
		for i := range a.Joints {
			if !yield("joint", a.Joints[i].ID) {
				return
			}
		}
		for i := range a.Connections {
			if !yield("connection", a.Connections[i].ID) {
				return
			}
		}
		for i := range a.Clips {
			if !yield("clip", a.Clips[i].ID) {
				return
			}
		}
		for i := range a.Circuits {
			if !yield("circuit", a.Circuits[i].ID) {
				return
			}
		}
	}
}

// HeldBy returns the pointer and the ids of every list of fasteners of the assembly.
func (a *Assembly) HeldBy() iter.Seq2[string, []string] {
	return func(yield func(pointer string, fasteners []string) bool) {
		for i := range a.Parts {
			if ids := a.Parts[i].HeldBy; len(ids) > 0 && !yield(At("/parts", i, "held_by"), ids) {
				return
			}
		}
		for i := range a.Joints {
			if ids := a.Joints[i].HeldBy; len(ids) > 0 && !yield(At("/joints", i, "held_by"), ids) {
				return
			}
		}
		for i := range a.Connections {
			if ids := a.Connections[i].HeldBy; len(ids) > 0 && !yield(At("/connections", i, "held_by"), ids) {
				return
			}
		}
	}
}

// HasTool reports whether the set-up block lists a tool.
func (r *Procedure) HasTool(id string) bool {
	for i := range r.Tools {
		if r.Tools[i].ID == id {
			return true
		}
	}
	return false
}

// ToolOf returns the line of the set-up block with an id, nil if there is none.
func (r *Procedure) ToolOf(id string) *Tool {
	for i := range r.Tools {
		if id != "" && r.Tools[i].ID == id {
			return &r.Tools[i]
		}
	}
	return nil
}

// ToolIDs returns the ids of the tools of the set-up block, in order.
func (r *Procedure) ToolIDs() iter.Seq[string] {
	return func(yield func(string) bool) {
		for i := range r.Tools {
			if !yield(r.Tools[i].ID) {
				return
			}
		}
	}
}

// StepIDs returns the ids of the steps, in order.
func (r *Procedure) StepIDs() iter.Seq[string] {
	return func(yield func(string) bool) {
		for i := range r.Steps {
			if !yield(r.Steps[i].ID) {
				return
			}
		}
	}
}

// Openings returns the pointer and the target of everything that a circuit of the
// assembly names as closing, draining, filling or showing it, and what a calibration
// is owed after.
func (a *Assembly) Openings() iter.Seq2[string, Target] {
	return func(yield func(pointer string, t Target) bool) {
		each := func(at, key string, ts []Target) bool {
			for i, t := range ts {
				if !yield(At(at+"/"+key, i, ""), t) {
					return false
				}
			}
			return true
		}
		for i := range a.Circuits {
			c, at := &a.Circuits[i], At("/circuits", i, "")
			if !each(at, "closed_by", c.ClosedBy) || !each(at, "drain", c.Drain) || !each(at, "fill", c.Fill) || !each(at, "level", c.Level) {
				return
			}
		}
		for i := range a.Owes {
			if !each(At("/owes", i, ""), "after", a.Owes[i].After) {
				return
			}
		}
	}
}

// ConsumableOf returns the consumable with an id, nil if the set-up block has none.
func (r *Procedure) ConsumableOf(id string) *Consumable {
	for i := range r.Consumables {
		if r.Consumables[i].ID == id {
			return &r.Consumables[i]
		}
	}
	return nil
}

// Waits returns how long the first wait of the step lasts that says so.
func (s *Step) Waits() Quantity {
	for i := range s.Operations {
		if !s.Operations[i].For.IsZero() {
			return s.Operations[i].For
		}
	}
	return Quantity{}
}
