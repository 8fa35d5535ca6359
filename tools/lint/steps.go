package lint

import (
	"iter"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Steps returns every step of the procedure with its pointer, in order.
func (p *Pass) Steps() iter.Seq2[string, *specdata.Step] {
	return func(yield func(string, *specdata.Step) bool) {
		r := p.Procedure()
		for i := range r.Steps {
			if !yield(specdata.At("/steps", i, ""), &r.Steps[i]) {
				return
			}
		}
	}
}

// Caution is a caution of the procedure and where it is written.
type Caution struct {
	*specdata.Caution
	// At is its pointer.
	At string
	// Step is the index of its step, -1 in the set-up block.
	Step int
}

// Cautions returns every caution of the procedure: those of the set-up block, then
// those of the steps in order.
func (p *Pass) Cautions() iter.Seq[Caution] {
	return func(yield func(Caution) bool) {
		r := p.Procedure()
		for i := range r.Cautions {
			if !yield(Caution{&r.Cautions[i], specdata.At("/cautions", i, ""), -1}) {
				return
			}
		}
		for i := range r.Steps {
			for j := range r.Steps[i].Cautions {
				if !yield(Caution{&r.Steps[i].Cautions[j], specdata.At(specdata.At("/steps", i, "cautions"), j, ""), i}) {
					return
				}
			}
		}
	}
}

// Warned returns the first caution about a hazard that a reader has met when an act
// of a step begins: one of the set-up block, of that step or of an earlier one.
func (p *Pass) Warned(hazard string, step int) (Caution, bool) {
	for c := range p.Cautions() {
		if c.Hazard == hazard && c.Step <= step {
			return c, true
		}
	}
	return Caution{}, false
}

// Thing is what a target names: a fastener, or a part, joint, connection or clip of
// the procedure's assemblies. Only one of the pointers is set; the zero Thing is
// what no record has.
type Thing struct {
	// Title is what people call it, Place where it is.
	Title, Place string
	Fastener     *specdata.Fastener
	Part         *specdata.Part
	Joint        *specdata.Joint
	Connection   *specdata.Connection
	Clip         *specdata.Clip
}

// Thing returns what a target names. Of two assemblies the first that has it
// counts, as in the dry run.
func (p *Pass) Thing(t specdata.Target) Thing {
	typ, id := t.Split()
	if typ == "fastener" {
		if f := library.Fastener(p.Library, id); f != nil {
			return Thing{Title: f.Title, Place: f.Place, Fastener: f}
		}
		return Thing{}
	}
	for _, name := range p.Procedure().Assemblies {
		if a := library.Assembly(p.Library, name); a != nil {
			if thing := thingOf(a, typ, id); thing.Title != "" {
				thing.Place = a.Place
				return thing
			}
		}
	}
	return Thing{}
}

func thingOf(a *specdata.Assembly, typ, id string) Thing {
	switch typ {
	case "part":
		for i := range a.Parts {
			if x := &a.Parts[i]; x.ID == id {
				return Thing{Title: x.Title, Part: x}
			}
		}
	case "joint":
		for i := range a.Joints {
			if x := &a.Joints[i]; x.ID == id {
				return Thing{Title: x.Title, Joint: x}
			}
		}
	case "connection":
		for i := range a.Connections {
			if x := &a.Connections[i]; x.ID == id {
				return Thing{Title: x.Title, Connection: x}
			}
		}
	case "clip":
		for i := range a.Clips {
			if x := &a.Clips[i]; x.ID == id {
				return Thing{Title: x.Title, Clip: x}
			}
		}
	}
	return Thing{}
}
