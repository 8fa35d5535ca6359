package lint

import (
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// Written is one operation as the procedure writes it, with what it names.
type Written struct {
	*specdata.Operation
	Step *specdata.Step
	// At is the pointer of the operation, StepAt that of its step.
	At, StepAt string
	// Fastener is the target where that is a fastener of the library, Listed the
	// line of the set-up block that the operation's tool names; else nil.
	Fastener *specdata.Fastener
	Listed   *specdata.Tool
}

// Operations gives the operations of the procedure in the order they are written.
// Repeats are not unrolled; the dry run does that.
func (p *Pass) Operations() []Written {
	if p.written != nil {
		p.sharing("operations", nil)
		return p.written
	}
	p.sharing("operations", p.write)
	return p.written
}

func (p *Pass) write() {
	r := p.Procedure()
	p.written = []Written{}
	for i := range r.Steps {
		s := &r.Steps[i]
		at := specdata.At("/steps", i, "")
		for j := range s.Operations {
			w := Written{Operation: &s.Operations[j], Step: s, StepAt: at, At: specdata.At(at+"/operations", j, "")}
			if typ, id := w.Target.Split(); typ == "fastener" {
				w.Fastener = library.Fastener(p.Library, id)
			}
			w.Listed = r.ToolOf(w.Tool)
			p.written = append(p.written, w)
		}
	}
}

// Says reports whether the sentence of the step, or what the operation says of
// itself, has one of some words (lower case; plurals count).
func (w Written) Says(words ...string) bool {
	return specdata.HasWord(w.Step.Text, words...) || specdata.HasWord(w.Note, words...) ||
		specdata.HasWord(w.With, words...) || specdata.HasWord(w.Accept, words...)
}

// Uses reports whether the operation does one of some verbs.
func (w Written) Uses(verbs ...specdata.Verb) bool { return slices.Contains(verbs, w.Do) }

// Tightenings gives every torque or angle of the dry run in order of use, once for
// each operation whatever number of variants and sides do it. Rules do not change it.
func (p *Pass) Tightenings() []dryrun.TorqueUse {
	if dry := p.DryRun(); p.tightenings == nil {
		p.tightenings = []dryrun.TorqueUse{}
		seen := map[place]bool{}
		for _, o := range dry.Outcomes {
			for _, u := range o.Torques {
				if at := placeOf(u.Act); !seen[at] {
					seen[at] = true
					p.tightenings = append(p.tightenings, u)
				}
			}
		}
	}
	return p.tightenings
}

// place is where an operation is written.
type place struct{ step, operation int }

func placeOf(a *dryrun.Act) place { return place{a.StepIndex, a.OpIndex} }

// Acts gives the acts of the dry run in order of step, once for each operation.
// Of an operation done on several sides or for several variants it gives the first.
// Rules do not change it.
func (p *Pass) Acts() []*dryrun.Act {
	if dry := p.DryRun(); p.acts == nil {
		p.acts = []*dryrun.Act{}
		seen := map[place]bool{}
		for _, o := range dry.Outcomes {
			for _, a := range o.Acts {
				if at := placeOf(a); !seen[at] {
					seen[at] = true
					p.acts = append(p.acts, a)
				}
			}
		}
	}
	return p.acts
}

// Hazards gives what the acts of the dry run expose people to, once for each
// hazard, with the first act that has it.
func (p *Pass) Hazards() []dryrun.Hazard {
	var all []dryrun.Hazard
	for _, o := range p.DryRun().Outcomes {
		for _, h := range o.Hazards {
			if !slices.ContainsFunc(all, func(old dryrun.Hazard) bool { return old.Name == h.Name }) {
				all = append(all, h)
			}
		}
	}
	return all
}
