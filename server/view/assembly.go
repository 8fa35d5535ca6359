package view

import (
	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

func (c *conversion) assembly(r *specdata.Assembly) *pb.Assembly {
	a := &pb.Assembly{
		Name: string(r.Name()), Kind: string(r.Kind), Id: r.ID, Title: r.Title, Note: r.Note, Replaces: r.Replaces,
		Waivers: waivers(r.Waivers), Notice: c.notice(r.Source),
		AppliesTo: c.applies(r.AppliesTo), ForWhom: ForWhom(whom.Of(c, r.AppliesTo)), Place: r.Place, End: r.End, Handed: r.Handed, Source: c.citation(r.Source),
		Parts: each(r.Parts, func(p *specdata.Part) *pb.Part {
			return &pb.Part{
				Id: p.ID, Title: p.Title, HeldBy: p.HeldBy, Behind: p.Behind, HangsOn: p.HangsOn, Heavy: p.Heavy,
				Mass: quantity(p.Mass), Renew: p.Renew, Friction: p.Friction, Wheel: p.Wheel, Runs: p.Runs, Aids: p.Aids, Seals: p.Seals,
			}
		}),
		Joints: each(r.Joints, func(j *specdata.Joint) *pb.Joint {
			return &pb.Joint{Id: j.ID, Title: j.Title, Kind: j.Kind, Between: j.Between, HeldBy: j.HeldBy, Behind: j.Behind, Aid: j.Aid}
		}),
		Connections: each(r.Connections, func(n *specdata.Connection) *pb.Connection {
			return &pb.Connection{
				Id: n.ID, Title: n.Title, Kind: n.Kind, Circuit: n.Circuit, Holds: n.Holds, HeldBy: n.HeldBy,
				Behind: n.Behind, Electrics: n.Electrics,
			}
		}),
		Clips: each(r.Clips, func(l *specdata.Clip) *pb.Clip {
			return &pb.Clip{Id: l.ID, Title: l.Title, Holds: l.Holds, Behind: l.Behind}
		}),
		Circuits: each(r.Circuits, func(l *specdata.Circuit) *pb.Circuit {
			return &pb.Circuit{
				Id: l.ID, Title: l.Title, Fluid: l.Fluid, Specification: l.Specification, Capacity: quantity(l.Capacity), Pressurised: l.Pressurised, Bleed: l.Bleed,
				ClosedBy: targets(l.ClosedBy), Drain: targets(l.Drain), Fill: targets(l.Fill), Level: targets(l.Level),
			}
		}),
		Limits: each(r.Limits, func(l *specdata.Limit) *pb.Limit {
			return &pb.Limit{Id: l.ID, Title: l.Title, Low: quantity(l.Low), High: quantity(l.High), Quote: l.Quote, At: l.At, Text: wording.Bounds(l.Low, l.High)}
		}),
		Waits: each(r.Waits, func(w *specdata.WaitTime) *pb.Wait {
			return &pb.Wait{For: w.For, Least: quantity(w.Least), Quote: w.Quote, At: w.At}
		}),
		Owes: each(r.Owes, func(o *specdata.Owes) *pb.Owes {
			return &pb.Owes{Id: o.ID, Title: o.Title, After: targets(o.After), Where: options(o.Where)}
		}),
	}
	if h := r.RideHeight; h != nil {
		a.RideHeight = &pb.RideHeight{Measure: h.Measure, Value: quantity(h.Value)}
	}
	return a
}

func targets(ts []specdata.Target) []string {
	var out []string
	for _, t := range ts {
		out = append(out, string(t))
	}
	return out
}
