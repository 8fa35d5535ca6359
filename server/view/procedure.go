package view

import (
	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

func (c *conversion) procedure(r *specdata.Procedure) *pb.Procedure {
	p := &pb.Procedure{
		Name: string(r.Name()), Kind: string(r.Kind), Id: r.ID, Title: r.Title, Note: r.Note, Replaces: r.Replaces,
		Waivers: waivers(r.Waivers), Notice: c.notice(r.Source),
		AppliesTo: c.applies(r.AppliesTo), ForWhom: ForWhom(whom.OfProcedure(c, r)), Assemblies: r.Assemblies, Sides: r.Sides, Cautions: cautions(r.Cautions),
		Proved: r.Proved, Protection: r.Protection, ProvedText: "not yet tried on a vehicle", Source: c.citation(r.Source),
		Tools: each(r.Tools, func(t *specdata.Tool) *pb.Tool {
			return &pb.Tool{
				Id: t.ID, Title: t.Title, Kind: t.Kind, From: Torque(t.From), To: Torque(t.To), Size: t.Size,
				Square: quantity(t.Square), Quantity: int32(t.Quantity), Rating: quantity(t.Rating), Resolution: quantity(t.Resolution),
				Lever: quantity(t.Lever), Reach: quantity(t.Reach), Angle: quantity(t.Angle), Gain: quantity(t.Gain),
			}
		}),
		Parts: each(r.Parts, func(n *specdata.NewPart) *pb.NewPart {
			return &pb.NewPart{Fastener: n.Fastener, Part: n.Part, Title: n.Title, Quantity: int32(n.Quantity)}
		}),
		Consumables: each(r.Consumables, func(s *specdata.Consumable) *pb.Consumable {
			return &pb.Consumable{Id: s.ID, Title: s.Title, Amount: quantity(s.Amount), Fluid: s.Fluid, Specification: s.Specification}
		}),
	}
	if r.Proved != "" {
		p.ProvedText = "walked through: " + r.Proved
	}
	r = claim.Complete(r, c)
	lines, titles, done := map[string]*pb.TorqueLine{}, c.titles(r), c.runs(p, r)
	for i := range r.Steps {
		s := &r.Steps[i]
		step := &pb.Step{
			Id: s.ID, Text: s.Text, Cautions: cautions(s.Cautions), Side: string(s.Side), Where: options(s.Where),
			Operations: each(s.Operations, func(o *specdata.Operation) *pb.Operation { return c.operation(r, o, titles) }),
			Criteria:   wording.Criteria(s), Notes: wording.Notes(s),
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
			step.Fastenings = append(step.Fastenings, c.fastening(r, i, id, done))
		}
		step.Reading = wording.Sentence(r, s, c.fastenerOf)
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
	for _, shown := range specdata.ValuesShown(s.Text) {
		add(shown.Fastener)
	}
	return ids
}

// fastenerOf returns the fastener with an id at the moment of the procedure, nil if
// there is none.
func (c *conversion) fastenerOf(id string) *specdata.Fastener {
	f, _ := get[*specdata.Fastener](c, specdata.KindFastener, id)
	return f
}

// torqueLine reads a fastener at the moment of the procedure.
func (c *conversion) torqueLine(id string) *pb.TorqueLine {
	line := &pb.TorqueLine{Fastener: string(specdata.NewName(specdata.KindFastener, id))}
	if f := c.fastenerOf(id); f != nil {
		line.Title = f.Title
		if t := f.Tightening; t != nil {
			line.Summary, line.StateText = wording.Tightening(t), wording.States(t)
		}
	}
	return line
}

func cautions(cs []specdata.Caution) []*pb.Caution {
	return each(cs, func(c *specdata.Caution) *pb.Caution {
		return &pb.Caution{Signal: c.Signal, Text: c.Text, Hazard: c.Hazard}
	})
}

func (c *conversion) operation(p *specdata.Procedure, o *specdata.Operation, titles map[specdata.Target]string) *pb.Operation {
	return &pb.Operation{
		Do: string(o.Do), Target: string(o.Target), Side: string(o.Side), Tool: o.Tool, Through: o.Through, New: o.New, Stage: int32(o.Stage),
		Positions: int32s(o.Positions), By: quantity(o.By), With: o.With, Accept: o.Accept, Low: quantity(o.Low),
		High: quantity(o.High), Until: string(o.Until), Note: o.Note, Chocks: o.Chocks, ParkingBrake: o.ParkingBrake, Gear: o.Gear, For: quantity(o.For), Limit: o.Limit, Text: c.act(p, o, titles[o.Target]),
	}
}

// act puts an operation into words. title is that of a target other than a fastener.
func (c *conversion) act(p *specdata.Procedure, o *specdata.Operation, title string) string {
	if typ, id := o.Target.Split(); typ == "fastener" {
		if f := c.fastenerOf(id); f != nil {
			return wording.Act(p, o, f.Title, f)
		}
	}
	return wording.Act(p, o, title, nil)
}

// titles returns the titles of the things that the procedure's operations can name, by
// target. Of two assemblies the first that has a thing counts, as in the dry run.
func (c *conversion) titles(p *specdata.Procedure) map[specdata.Target]string {
	titles := map[specdata.Target]string{}
	put := func(typ, id, title string) {
		if t := specdata.Target(typ + ":" + id); titles[t] == "" {
			titles[t] = title
		}
	}
	for _, id := range p.Assemblies {
		a, ok := get[*specdata.Assembly](c, specdata.KindAssembly, id)
		if !ok {
			continue
		}
		for i := range a.Parts {
			put("part", a.Parts[i].ID, a.Parts[i].Title)
		}
		for i := range a.Joints {
			put("joint", a.Joints[i].ID, a.Joints[i].Title)
		}
		for i := range a.Connections {
			put("connection", a.Connections[i].ID, a.Connections[i].Title)
		}
		for i := range a.Clips {
			put("clip", a.Clips[i].ID, a.Clips[i].Title)
		}
		for i := range a.Circuits {
			put("circuit", a.Circuits[i].ID, a.Circuits[i].Title)
		}
	}
	for i := range p.Tools {
		put("aid", p.Tools[i].ID, p.Tools[i].Title)
	}
	return titles
}
