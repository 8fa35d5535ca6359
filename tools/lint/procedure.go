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

// Operations returns the operations of the procedure in the order they are written.
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

// Tightenings returns every torque or angle of the dry run in order of use, on every
// side and for every variant: once for each of those that differ in what they do or
// in the state they find. Rules do not change it.
func (p *Pass) Tightenings() []dryrun.TorqueUse {
	if dry := p.DryRun(); p.tightenings == nil {
		p.tightenings = []dryrun.TorqueUse{}
		seen := map[circumstances]bool{}
		for _, o := range dry.Outcomes {
			for _, u := range o.Torques {
				if c := circumstancesOf(u.Act, u.Final); !seen[c] {
					seen[c] = true
					p.tightenings = append(p.tightenings, u)
				}
			}
		}
	}
	return p.tightenings
}

// circumstances tell acts of one operation apart: by where it is repeated, and by
// what it finds.
type circumstances struct {
	step, operation, repeats int
	side                     specdata.Side
	from                     dryrun.State
	end                      string
	front, rear              dryrun.EndState
	new, final, secured      bool
	dead                     int
}

func circumstancesOf(a *dryrun.Act, final bool) circumstances {
	c := circumstances{step: a.StepIndex, operation: a.OpIndex, repeats: a.Repeats, side: a.Side, from: a.From, end: a.End, new: a.NewPiece, final: final}
	if b := a.Before; b != nil {
		c.front, c.rear, c.secured, c.dead = b.Front, b.Rear, b.Secured, len(b.Dead)
	}
	return c
}

// Acts returns the acts of the dry run in order, on every side and for every variant:
// once for each of those that differ in the state they find. A rule that compares
// acts with each other goes through the outcomes of [Pass.DryRun] instead, one
// variant at a time. Of reports that are alike the run keeps one. Rules do not change it.
func (p *Pass) Acts() []*dryrun.Act {
	if dry := p.DryRun(); p.acts == nil {
		p.acts = []*dryrun.Act{}
		seen := map[circumstances]bool{}
		for _, o := range dry.Outcomes {
			for _, a := range o.Acts {
				if c := circumstancesOf(a, false); !seen[c] {
					seen[c] = true
					p.acts = append(p.acts, a)
				}
			}
		}
	}
	return p.acts
}

// Hazards returns what the acts of the dry run expose people to, once for each
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
