package main

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
)

type procedureSlip = slip[*specdata.Procedure]

// procedureSlips lists what goes wrong when a job is written down: an act left
// out, said twice, said too late, or said of the wrong thing.
func procedureSlips() []procedureSlip {
	slips := []procedureSlip{
		{"operation-deleted", "any one operation left out", deleteOp(matters)},
		{"operation-said-twice", "any one changing operation twice", twice},
		{"operation-moved", "an operation moved where it cannot be", move},
		{"step-deleted", "a whole step left out", deleteStep},
		{"wrong-fastener", "another fastener of the same job named", wrongFastener},
		{"old-piece", "a new piece said to be new no longer", func(p *specdata.Procedure, _ source, rng *rand.Rand) (string, bool) {
			return pick(p, rng, func(o *specdata.Operation) bool {
				was := o.New
				o.New = false
				return was
			})
		}},
		{"tool-unlisted", "a tool of the set-up block dropped that an operation uses", dropTool},
		{"torque-wrench-too-small", "the wrench of a tightening exchanged for one that does not reach", smallWrench},
		{"part-unlisted", "a line of the order list dropped", func(p *specdata.Procedure, _ source, rng *rand.Rand) (string, bool) {
			if len(p.Parts) == 0 {
				return "", false
			}
			i := rng.IntN(len(p.Parts))
			did := p.Parts[i].Title + " not listed"
			p.Parts = slices.Delete(p.Parts, i, i+1)
			return did, true
		}},
		{"caution-dropped", "every caution of the job dropped", func(p *specdata.Procedure, _ source, _ *rand.Rand) (string, bool) {
			n := len(p.Cautions)
			p.Cautions = nil
			for i := range p.Steps {
				n += len(p.Steps[i].Cautions)
				p.Steps[i].Cautions = nil
			}
			return "no cautions", n > 0
		}},
		{"assembly-forgotten", "the assembly of the job not named", func(p *specdata.Procedure, _ source, _ *rand.Rand) (string, bool) {
			p.Assemblies = []string{"nowhere"}
			return "assembly nowhere", true
		}},
	}
	for _, v := range []specdata.Verb{
		specdata.Secure, specdata.Support, specdata.Lower, specdata.Tighten, specdata.Fit, specdata.Connect, specdata.ClipVerb,
		specdata.Hang, specdata.Unhang, specdata.LockVerb, specdata.Resolve, specdata.ClearAid, specdata.Fill, specdata.Bleed,
		specdata.Restore, specdata.Pump, specdata.LoadSuspension, specdata.Isolate, specdata.Depressurise, specdata.Advise,
	} {
		slips = append(slips, procedureSlip{"forgotten-" + string(v), "the act " + string(v) + " left out", forget(v)})
	}
	return slips
}

// at is the place of one operation.
type at struct{ step, op int }

func places(p *specdata.Procedure, keep func(*specdata.Operation) bool) []at {
	var out []at
	for i := range p.Steps {
		for j := range p.Steps[i].Operations {
			if keep(&p.Steps[i].Operations[j]) {
				out = append(out, at{i, j})
			}
		}
	}
	return out
}

// matters says that the operation changes the vehicle: leaving it out changes
// what a reader ends up with. Marks, measurements, inspections, cleaning and notes
// are left to a person's judgement.
func matters(o *specdata.Operation) bool {
	w := dryrun.Describe(o.Do)
	return w != nil && (w.Opens != "" || w.Closes != "") && o.Do != specdata.Check && o.Do != specdata.Slacken
}

func deleteOp(keep func(*specdata.Operation) bool) func(*specdata.Procedure, source, *rand.Rand) (string, bool) {
	return func(p *specdata.Procedure, _ source, rng *rand.Rand) (string, bool) {
		all := places(p, keep)
		if len(all) == 0 {
			return "", false
		}
		a := all[rng.IntN(len(all))]
		o := p.Steps[a.step].Operations[a.op]
		p.Steps[a.step].Operations = slices.Delete(p.Steps[a.step].Operations, a.op, a.op+1)
		if len(p.Steps[a.step].Operations) == 0 && p.Steps[a.step].Repeat == nil {
			p.Steps = slices.Delete(p.Steps, a.step, a.step+1)
		}
		return fmt.Sprintf("without %s %s", o.Do, o.Target), true
	}
}

// forget leaves an act out. Securing a vehicle that is never raised is good habit
// and changes nothing, so it is no slip there.
func forget(v specdata.Verb) func(*specdata.Procedure, source, *rand.Rand) (string, bool) {
	drop := deleteOp(func(o *specdata.Operation) bool { return o.Do == v })
	return func(p *specdata.Procedure, lib source, rng *rand.Rand) (string, bool) {
		if v == specdata.Secure && len(places(p, func(o *specdata.Operation) bool { return o.Do == specdata.Raise })) == 0 {
			return "", false
		}
		return drop(p, lib, rng)
	}
}

func twice(p *specdata.Procedure, _ source, rng *rand.Rand) (string, bool) {
	all := places(p, func(o *specdata.Operation) bool {
		return matters(o) && o.Do != specdata.Pump && o.Do != specdata.Advise && o.Do != specdata.Align && o.Do != specdata.Relearn && o.Do != specdata.Bleed && o.Do != specdata.Fill
	})
	if len(all) == 0 {
		return "", false
	}
	a := all[rng.IntN(len(all))]
	ops := p.Steps[a.step].Operations
	p.Steps[a.step].Operations = slices.Insert(slices.Clone(ops), a.op, ops[a.op])
	return fmt.Sprintf("%s %s twice", ops[a.op].Do, ops[a.op].Target), true
}

// move puts a taking-apart act behind its putting-back act, or the other way
// round: whatever stands between, that order is impossible.
func move(p *specdata.Procedure, _ source, rng *rand.Rand) (string, bool) {
	back := map[specdata.Verb]specdata.Verb{specdata.Remove: specdata.Fit, specdata.Disconnect: specdata.Connect, specdata.Unclip: specdata.ClipVerb, specdata.Separate: specdata.Join, specdata.Raise: specdata.Lower, specdata.Isolate: specdata.Restore, specdata.Drain: specdata.Fill, specdata.Hang: specdata.Unhang, specdata.SetAid: specdata.ClearAid}
	all := places(p, func(o *specdata.Operation) bool { return back[o.Do] != "" })
	if len(all) == 0 {
		return "", false
	}
	a := all[rng.IntN(len(all))]
	o := p.Steps[a.step].Operations[a.op]
	later := places(p, func(x *specdata.Operation) bool {
		return x.Do == back[o.Do] && x.Target == o.Target && x.Side == o.Side
	})
	if len(later) == 0 {
		return "", false
	}
	b := later[0]
	first, second := &p.Steps[a.step].Operations[a.op], &p.Steps[b.step].Operations[b.op]
	*first, *second = *second, *first
	return fmt.Sprintf("%s and %s %s exchanged", o.Do, back[o.Do], o.Target), true
}

func deleteStep(p *specdata.Procedure, _ source, rng *rand.Rand) (string, bool) {
	var all []int
	for i := range p.Steps {
		if slices.ContainsFunc(p.Steps[i].Operations, func(o specdata.Operation) bool { return matters(&o) }) {
			all = append(all, i)
		}
	}
	if len(all) == 0 {
		return "", false
	}
	i := all[rng.IntN(len(all))]
	did := "without step " + p.Steps[i].ID
	p.Steps = slices.Delete(p.Steps, i, i+1)
	return did, true
}

func wrongFastener(p *specdata.Procedure, _ source, rng *rand.Rand) (string, bool) {
	all := places(p, func(o *specdata.Operation) bool {
		typ, _ := o.Target.Split()
		return typ == "fastener" && matters(o)
	})
	if len(all) < 2 {
		return "", false
	}
	a, b := all[rng.IntN(len(all))], all[rng.IntN(len(all))]
	x, y := &p.Steps[a.step].Operations[a.op], p.Steps[b.step].Operations[b.op]
	if x.Target == y.Target {
		return "", false
	}
	did := fmt.Sprintf("%s %s for %s", x.Do, y.Target, x.Target)
	x.Target = y.Target
	return did, true
}

func pick(p *specdata.Procedure, rng *rand.Rand, change func(*specdata.Operation) bool) (string, bool) {
	all := places(p, func(*specdata.Operation) bool { return true })
	for range 200 {
		a := all[rng.IntN(len(all))]
		o := &p.Steps[a.step].Operations[a.op]
		if change(o) {
			return fmt.Sprintf("%s %s", o.Do, o.Target), true
		}
	}
	return "", false
}

func dropTool(p *specdata.Procedure, _ source, rng *rand.Rand) (string, bool) {
	all := places(p, func(o *specdata.Operation) bool { return o.Tool != "" })
	if len(all) == 0 {
		return "", false
	}
	a := all[rng.IntN(len(all))]
	id := p.Steps[a.step].Operations[a.op].Tool
	p.Tools = slices.DeleteFunc(p.Tools, func(t specdata.Tool) bool { return t.ID == id })
	return "without tool " + id, true
}

func smallWrench(p *specdata.Procedure, lib source, rng *rand.Rand) (string, bool) {
	for i, t := range p.Tools {
		if t.Kind != "torque-wrench" {
			continue
		}
		all := places(p, func(o *specdata.Operation) bool {
			typ, id := o.Target.Split()
			if o.Tool == "" || o.Tool == t.ID || typ != "fastener" || o.Do != specdata.Tighten {
				return false
			}
			e := lib.Get(specdata.NewName(specdata.KindFastener, id))
			if e == nil {
				return false
			}
			s := torqueStage(e.Record.(*specdata.Fastener))
			return s != nil && s.Torque.SI() > 1.2*p.Tools[i].To.SI()
		})
		if len(all) == 0 {
			continue
		}
		a := all[rng.IntN(len(all))]
		p.Steps[a.step].Operations[a.op].Tool = t.ID
		return fmt.Sprintf("%s with %s", p.Steps[a.step].Operations[a.op].Target, t.ID), true
	}
	return "", false
}
