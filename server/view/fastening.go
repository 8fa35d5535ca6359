package view

import (
	"slices"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/wording"
)

// fastening returns a fastener as one step of a procedure needs it. The message of the
// record is made first and its parts are taken over, so that a step can never say
// anything else than the fastener's own view.
//
// done gives the stages that operations performed in the dry run.
func (c *conversion) fastening(p *specdata.Procedure, step int, id string, done map[written][]int) *pb.Fastening {
	s := &p.Steps[step]
	out := &pb.Fastening{Fastener: string(specdata.NewName(specdata.KindFastener, id))}
	target := specdata.Target("fastener:" + id)
	var stages []int
	f := c.fastenerOf(id)
	for i := range s.Operations {
		o := &s.Operations[i]
		if o.Target != target {
			continue
		}
		out.Acts = append(out.Acts, c.act(p, o, ""))
		out.New = out.New || o.New
		for _, tool := range []string{o.Tool, o.With} {
			if t := p.ToolOf(tool); t != nil && !slices.Contains(out.SetUpTools, wording.Tool(t)) {
				out.SetUpTools = append(out.SetUpTools, wording.Tool(t))
			}
		}
		out.Tightened = out.Tightened || brings(o.Do)
		if ran, ok := done[written{step, i}]; ok {
			stages = append(stages, ran...)
		} else {
			stages = append(stages, performed(o, f)...)
		}
	}
	for i := range p.Parts {
		if p.Parts[i].Fastener == id {
			out.NewParts = append(out.NewParts, wording.NewPart(&p.Parts[i]))
		}
	}
	if f == nil {
		return out
	}
	slices.Sort(stages)
	stages = slices.Compact(stages)
	out.Title, out.Place, out.Count, out.Safety = f.Title, f.Place, int32(f.Count), f.Safety
	out.Thread, out.Surface, out.Reuse, out.Lock, out.Fitting = thread(f.Thread), surface(f.Surface), reuse(f.Reuse), lock(f.Lock), fitting(f.Fitting)
	out.Tools, out.FollowUps, out.Conditions = tools(f), followUps(f.FollowUps), wording.Conditions(f)
	if f.Source != nil {
		out.SourceText = c.citation(f.Source).Text
	}
	t := tightening(f)
	if t == nil {
		return out
	}
	out.Tolerance, out.AngleTolerance, out.State, out.StateText = t.Tolerance, t.AngleTolerance, t.State, t.StateText
	out.Hold, out.Pattern, out.DragText, out.ImpactText = t.Hold, t.Pattern, t.DragText, t.ImpactText
	for _, i := range stages {
		out.StageNumbers = append(out.StageNumbers, int32(i+1))
		out.Stages = append(out.Stages, t.Stages[i])
	}
	out.StageText, out.Value, out.Accept = wording.StageNames(f.Tightening, stages), wording.Stages(f.Tightening, stages), wording.Accepted(f.Tightening, stages)
	return out
}

// brings reports whether a verb brings a fastener nearer to its final state by a value.
func brings(v specdata.Verb) bool {
	return v == specdata.Tighten || v == specdata.StageVerb || v == specdata.Turn
}

// performed lists the stages of the record that an operation performs as far as it
// says itself, from 0: a tightening all of them. It stands in for the dry run where
// no variant of the procedure is known.
func performed(o *specdata.Operation, f *specdata.Fastener) []int {
	if f == nil || f.Tightening == nil {
		return nil
	}
	n := len(f.Tightening.Stages)
	switch {
	case o.Do == specdata.Tighten:
		all := make([]int, n)
		for i := range all {
			all[i] = i
		}
		return all
	case (brings(o.Do) || o.Do == specdata.BackOff) && o.Stage >= 1 && o.Stage <= n:
		return []int{o.Stage - 1}
	}
	return nil
}
