package view

import (
	"fmt"
	"iter"
	"strings"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

// maxActs and maxOpen bound what a view says of dry runs: the acts of all variants,
// repeats unrolled, and the lines that say what is open. The longest job of the demo
// library has 110 acts and 600 such lines.
const (
	maxActs = 4000
	maxOpen = 20000
)

// written is where an operation is written.
type written struct{ step, operation int }

// runs adds what the dry run says of each variant, and gives the stages that each
// operation performed, counted from 0: what a tightening still has to do depends on
// what was done before it.
func (c *conversion) runs(p *pb.Procedure, r *specdata.Procedure) map[written][]int {
	variants := dryrun.Variants(c, r)
	acts := 0
	for _, v := range variants {
		if acts += len(dryrun.Expand(r, v)); acts > maxActs {
			p.RunsText = fmt.Sprintf("more than %d acts in %d variants are too many for a view; run the procedure at the command line", maxActs, len(variants))
			return nil
		}
	}
	room, done := maxOpen, map[written][]int{}
	for _, v := range variants {
		o := dryrun.RunVariant(c, r, v)
		p.Runs = append(p.Runs, c.run(r, v, o, &room))
		for _, u := range o.Torques {
			if at := (written{u.Act.StepIndex, u.Act.OpIndex}); done[at] == nil {
				done[at] = u.Stages
			}
		}
	}
	return done
}

func (c *conversion) run(r *specdata.Procedure, v dryrun.Variant, o *dryrun.Outcome, room *int) *pb.DryRun {
	out := &pb.DryRun{Vehicle: v.Vehicle, Text: c.variant(v), ForWhom: ForWhom(whom.OfVariant(c, r, v, "")), Closes: len(o.Problems) == 0}
	for _, x := range v.Options {
		out.Options = append(out.Options, &pb.Option{Key: x.Key, Values: []string{x.Value}})
	}
	for _, problem := range o.Problems {
		out.Problems = append(out.Problems, problem.Message())
	}
	for n, open := range o.Open() {
		m := &o.Timeline[n]
		moment := &pb.DryRunMoment{
			Number: int32(n + 1), Step: m.Step.ID, Side: side(m.Side), Opened: entries(m.Opened), Changed: entries(m.Changed),
			Closed: entries(m.Closed), OpenCount: int32(len(open)), VehicleText: m.Around.Words(),
		}
		if *room -= len(open); *room >= 0 {
			moment.Open = entries(open)
		}
		out.Timeline = append(out.Timeline, moment)
	}
	for i, u := range o.Torques {
		f := u.Fastener
		out.Torques = append(out.Torques, &pb.DryRunTorque{
			Number: int32(i + 1), Moment: int32(u.Moment + 1), Step: u.Act.Step.ID, Fastener: string(f.Name()), Text: wording.Called(f, u.Act.Side),
			Side: side(u.Act.Side), Value: wording.Stages(f.Tightening, u.Stages), StageText: wording.StageNames(f.Tightening, u.Stages),
			Accept: wording.AcceptedBy(f.Tightening, u.Stages, wording.Wrench(r, u.Act.Tool, f, u.Stages)), Conditions: wording.Conditions(f), ToolText: wording.ToolsFor(r, u.Act.Tool, f, u.Stages),
			Final: u.Final, VehicleText: u.Around.Words(),
		})
	}
	seen := map[string]bool{}
	for _, w := range o.Owed {
		if line := wording.Owed(w.What, w.After); !seen[line] {
			seen[line] = true
			out.Owed = append(out.Owed, line)
		}
	}
	out.Picks = c.picks((&dryrun.Result{Procedure: r, Outcomes: []*dryrun.Outcome{o}}).PickList(c))
	return out
}

func (c *conversion) picks(p dryrun.Picks) *pb.PickList {
	out := &pb.PickList{}
	out.Drives, out.Tools = sheet.LayOut(p, c.fastenerOf)
	for i := range p.NewParts {
		out.NewParts = append(out.NewParts, wording.NewPart(&p.NewParts[i]))
	}
	for i := range p.Consumables {
		out.Consumables = append(out.Consumables, wording.Consumable(&p.Consumables[i]))
	}
	return out
}

// variant names a variant by the title of its vehicle.
func (c *conversion) variant(v dryrun.Variant) string {
	text := v.Vehicle
	if vehicle, ok := get[*specdata.Vehicle](c, specdata.KindVehicle, v.Vehicle); ok {
		text = vehicle.Title
	}
	for _, o := range v.Options {
		text += ", " + strings.ReplaceAll(o.Key, "_", " ") + " " + o.Value
	}
	return text
}

func side(s specdata.Side) string {
	if s == specdata.SideLeft || s == specdata.SideRight {
		return string(s)
	}
	return ""
}

func entries(es []dryrun.Entry) []string {
	var out []string
	for i := range es {
		out = append(out, es[i].Words())
	}
	return out
}

// A conversion is the library that the dry run reads, so that what the run looked at
// counts among what the view was made from.
var _ library.Library = (*conversion)(nil)

// Get implements library.Library.
func (c *conversion) Get(name specdata.Name) *library.Entry { return c.get(name) }

// All implements library.Library.
func (c *conversion) All(k specdata.Kind) iter.Seq[*library.Entry] { return c.library.All(k) }

// Uses implements library.Library.
func (c *conversion) Uses(name specdata.Name) []specdata.Name { return c.library.Uses(name) }

// ForVehicle implements library.Library.
func (c *conversion) ForVehicle(k specdata.Kind, vehicle string) iter.Seq[*library.Entry] {
	return c.library.ForVehicle(k, vehicle)
}

// Err implements library.Library.
func (c *conversion) Err() error { return c.library.Err() }
