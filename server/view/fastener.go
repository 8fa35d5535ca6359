package view

import (
	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

func (c *conversion) fastener(r *specdata.Fastener) *pb.Fastener {
	f := &pb.Fastener{
		Name: string(r.Name()), Kind: string(r.Kind), Id: r.ID, Title: r.Title, Note: r.Note, Replaces: r.Replaces,
		Waivers: waivers(r.Waivers), Notice: c.notice(r.Source),
		AppliesTo: c.applies(r.AppliesTo), Place: r.Place, Count: int32(r.Count), Joint: string(r.Joint),
		Thread: thread(r.Thread), Stud: stud(r.Stud), Seat: seat(r.Seat), Clamped: clamped(r.Clamped), Drive: drive(r.Drive), Surface: surface(r.Surface), Tightening: tightening(r),
		Reuse: reuse(r.Reuse), Lock: lock(r.Lock), Safety: r.Safety, Source: c.citation(r.Source),
		Pairs:   each(r.Pairs, func(p *specdata.Pair) *pb.Pair { return &pb.Pair{Fastener: p.Fastener, As: p.As} }),
		ForWhom: ForWhom(whom.Of(c, r.AppliesTo)), FollowUps: followUps(r.FollowUps), Fitting: fitting(r.Fitting), Tools: tools(r),
	}
	if s := r.Strength; s != nil {
		f.Strength = &pb.Strength{Bolt: s.Bolt, Nut: s.Nut, Finish: s.Finish}
	}
	f.Summary = wording.Tightening(r.Tightening)
	return f
}

func fitting(t *specdata.Fitting) *pb.Fitting {
	if t == nil {
		return nil
	}
	return &pb.Fitting{Direction: t.Direction, Washers: t.Washers, Spacer: t.Spacer}
}

func followUps(us []specdata.FollowUp) []*pb.FollowUp {
	return each(us, func(u *specdata.FollowUp) *pb.FollowUp {
		return &pb.FollowUp{Check: u.Check, After: quantity(u.After), Text: wording.FollowUp(u)}
	})
}

func thread(t *specdata.Thread) *pb.Thread {
	if t == nil {
		return nil
	}
	return &pb.Thread{
		Designation: t.Designation, Hand: t.Hand, Into: t.Into, Engagement: quantity(t.Engagement), Grip: quantity(t.Grip),
		Length: quantity(t.Length), Hole: quantity(t.Hole), Bore: quantity(t.Bore), Neck: quantity(t.Neck), Captive: t.Captive, Known: t.Known, Text: wording.Thread(t),
	}
}

func stud(s *specdata.Stud) *pb.Stud {
	if s == nil {
		return nil
	}
	return &pb.Stud{Held: s.Held, Into: s.Into, Engagement: quantity(s.Engagement)}
}

func seat(s *specdata.Seat) *pb.Seat {
	if s == nil {
		return nil
	}
	return &pb.Seat{
		Form: s.Form, Angle: quantity(s.Angle), Radius: quantity(s.Radius), Mean: quantity(s.Mean), Outer: quantity(s.Outer), Hole: quantity(s.Hole),
		Against: s.Against, Text: wording.Seat(s),
	}
}

func states(ss []specdata.VehicleState) []string {
	var out []string
	for _, s := range ss {
		out = append(out, string(s))
	}
	return out
}

func clamped(c *specdata.Clamped) *pb.Clamped {
	if c == nil {
		return nil
	}
	return &pb.Clamped{Of: c.Of, Parts: int32(c.Parts), Painted: c.Painted, Width: quantity(c.Width), Rise: quantity(c.Rise)}
}

func drive(d *specdata.Drive) *pb.Drive {
	if d == nil {
		return nil
	}
	return &pb.Drive{Turn: d.Turn, Head: d.Head, Nut: d.Nut, Flange: d.Flange, Special: d.Special, Depth: d.Depth}
}

func surface(s *specdata.Surface) *pb.Surface {
	if s == nil {
		return nil
	}
	return &pb.Surface{Condition: s.Condition, Product: s.Product, Friction: s.Friction, On: s.On, Cleaning: s.Cleaning, Text: wording.Surface(s)}
}

func tightening(f *specdata.Fastener) *pb.Tightening {
	t := f.Tightening
	if t == nil {
		return nil
	}
	out := &pb.Tightening{
		Tolerance: quantity(t.Tolerance), AngleTolerance: quantity(t.AngleTolerance), State: string(t.State),
		Drag: t.Drag, DragTorque: Torque(t.DragTorque), Impact: t.Impact,
		And: states(t.And), StateText: wording.States(t), ImpactText: wording.Impact(t.Impact),
	}
	out.DragText = wording.DragOf(f)
	for i := range t.Stages {
		s := &t.Stages[i]
		stage := &pb.Stage{
			Torque: Torque(s.Torque), UpTo: Torque(s.UpTo), Also: Torque(s.Also), Angle: quantity(s.Angle),
			Rolling: Torque(s.Rolling), RollingTo: Torque(s.RollingTo), Slacken: s.Slacken, Wait: quantity(s.Wait), Seat: s.Seat, AllFirst: s.AllFirst,
		}
		if stage.Torque != nil {
			stage.Torque.Band = band(s, t.Tolerance)
		}
		stage.Text = wording.StageAt(t, i)
		out.Stages = append(out.Stages, stage)
	}
	if h := t.Hold; h != nil {
		out.Hold = &pb.Hold{Turns: h.Turns, With: h.With, Text: wording.Hold(h)}
	}
	if p := t.Pattern; p != nil {
		out.Pattern = &pb.Pattern{Order: p.Order, Sequence: int32s(p.Sequence), Passes: int32(p.Passes), Loosen: p.Loosen, Text: wording.Pattern(t)}
	}
	return out
}

func reuse(r *specdata.Reuse) *pb.Reuse {
	if r == nil {
		return nil
	}
	return &pb.Reuse{Rule: r.Rule, Renew: r.Renew, Times: int32(r.Times), Measure: r.Measure, Limit: quantity(r.Limit), Text: wording.Reuse(r)}
}

func lock(l *specdata.Lock) *pb.Lock {
	if l == nil {
		return nil
	}
	return &pb.Lock{By: l.By, Align: l.Align, Max: quantity(l.Max), Text: wording.Lock(l)}
}
