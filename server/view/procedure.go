package view

import (
	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/wording"
)

func (c *conversion) procedure(r *specdata.Procedure) *pb.Procedure {
	p := &pb.Procedure{
		Name: string(r.Name()), Kind: string(r.Kind), Id: r.ID, Title: r.Title, Note: r.Note, Replaces: r.Replaces,
		Waivers: waivers(r.Waivers), Notice: c.notice(r.Source),
		AppliesTo: c.applies(r.AppliesTo), Assemblies: r.Assemblies, Sides: r.Sides, Cautions: cautions(r.Cautions),
		Proved: r.Proved, ProvedText: "not proved on a vehicle", Source: c.citation(r.Source),
		Tools: each(r.Tools, func(t *specdata.Tool) *pb.Tool {
			return &pb.Tool{
				Id: t.ID, Title: t.Title, Kind: t.Kind, From: Torque(t.From), To: Torque(t.To), Size: t.Size,
				Square: quantity(t.Square), Quantity: int32(t.Quantity),
			}
		}),
		Parts: each(r.Parts, func(n *specdata.NewPart) *pb.NewPart {
			return &pb.NewPart{Fastener: n.Fastener, Part: n.Part, Title: n.Title, Quantity: int32(n.Quantity)}
		}),
		Consumables: each(r.Consumables, func(s *specdata.Consumable) *pb.Consumable {
			return &pb.Consumable{Id: s.ID, Title: s.Title, Amount: quantity(s.Amount)}
		}),
	}
	if r.Proved != "" {
		p.ProvedText = "walked through: " + r.Proved
	}
	lines := map[string]*pb.TorqueLine{}
	for i := range r.Steps {
		s := &r.Steps[i]
		step := &pb.Step{
			Id: s.ID, Text: s.Text, Cautions: cautions(s.Cautions), Side: string(s.Side), Where: options(s.Where),
			Operations: each(s.Operations, operation),
		}
		if s.Repeat != nil {
			step.Repeat = &pb.Repeat{From: s.Repeat.From, To: s.Repeat.To, Side: string(s.Repeat.Side)}
		}
		for _, id := range fastenersOf(s) {
			line := lines[id]
			if line == nil {
				line = c.torqueLine(id)
				lines[id] = line
				p.Torques = append(p.Torques, line)
			}
			line.Steps = append(line.Steps, s.ID)
		}
		step.Reading = wording.Sentence(r, s, func(id string) string {
			if line := lines[id]; line != nil {
				return line.Summary
			}
			return ""
		})
		p.Steps = append(p.Steps, step)
	}
	return p
}

// fastenersOf lists the fasteners a step names, each once, in order.
func fastenersOf(s *specdata.Step) []string {
	var ids []string
	seen := map[string]bool{}
	add := func(id string) {
		if !seen[id] {
			seen[id] = true
			ids = append(ids, id)
		}
	}
	for i := range s.Operations {
		if typ, id := s.Operations[i].Target.Split(); typ == "fastener" {
			add(id)
		}
	}
	for _, id := range specdata.Placeholders(s.Text, "torque") {
		add(id)
	}
	return ids
}

// torqueLine reads a fastener at the moment of the procedure.
func (c *conversion) torqueLine(id string) *pb.TorqueLine {
	line := &pb.TorqueLine{Fastener: string(specdata.NewName(specdata.KindFastener, id))}
	if f, ok := get[*specdata.Fastener](c, specdata.KindFastener, id); ok {
		line.Title = f.Title
		if t := tightening(f.Tightening); t != nil {
			line.Summary, line.StateText = wording.Tightening(f.Tightening), t.StateText
		}
	}
	return line
}

func cautions(cs []specdata.Caution) []*pb.Caution {
	return each(cs, func(c *specdata.Caution) *pb.Caution {
		return &pb.Caution{Signal: c.Signal, Text: c.Text, Hazard: c.Hazard}
	})
}

func operation(o *specdata.Operation) *pb.Operation {
	return &pb.Operation{
		Do: string(o.Do), Target: string(o.Target), Side: string(o.Side), Tool: o.Tool, New: o.New, Stage: int32(o.Stage),
		Positions: int32s(o.Positions), By: quantity(o.By), With: o.With, Accept: o.Accept, Low: quantity(o.Low),
		High: quantity(o.High), Until: string(o.Until), Note: o.Note,
	}
}
