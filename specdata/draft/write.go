package draft

import (
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// writer writes the steps of a draft.
type writer struct {
	library   library.Library
	assembly  *specdata.Assembly
	part      *specdata.Part
	vehicle   *specdata.Vehicle
	clauses   []specdata.Applies
	acts      []Undo
	procedure *specdata.Procedure
	missing   []string
	// wheres are the options that a fastener is for, by its id.
	wheres map[string]map[string][]string
	// aids are set before an act, by its index; inPlace are those that are set.
	aids    map[int][]aid
	inPlace []aid
	// loaded are the tightenings that wait for ride height, grounded those that wait
	// for the wheels to be on the ground, spun the checks that want the end off it.
	loaded, grounded, spun []specdata.Step
	// last are checks and advice at the very end.
	last []specdata.Step
	// both says that the job is done on both sides: what rubs is renewed in pairs.
	both bool
	// relieved and opened are circuits by id: let down, and opened by the job.
	relieved, opened map[string]bool
	// filled are the circuits that the job opened and closed again.
	filled []*specdata.Circuit
	// plugs are the drain plugs that are out and were not in the way.
	plugs []*specdata.Fastener
	// fillers are the filler plugs that are out since their circuit was drained.
	fillers []*specdata.Fastener
	// settled are the waits that are done, by what they are for.
	settled []string
	// down says that the vehicle is back on its wheels.
	down bool
	// measured are the limits that have been measured, by id.
	measured []string
}

func newWriter(l library.Library, a *specdata.Assembly, p *specdata.Part, v *specdata.Vehicle, clauses []specdata.Applies) *writer {
	return &writer{library: l, assembly: a, part: p, vehicle: v, clauses: clauses, wheres: map[string]map[string][]string{}, relieved: map[string]bool{}, opened: map[string]bool{}}
}

func (w *writer) write() {
	w.both = w.assembly.Handed && slices.ContainsFunc(w.acts, func(u Undo) bool {
		p := w.partOf(u.Target)
		return p != nil && p.Renew && p.Friction
	})
	if w.both {
		w.procedure.Sides = "both"
	}
	w.planAids()
	w.prepare()
	first := len(w.procedure.Steps)
	w.dismantle()
	w.clean()
	w.measureLimits(true)
	w.refit()
	last := len(w.procedure.Steps) - 1
	if w.both {
		for i := first; i <= last; i++ {
			w.procedure.Steps[i].Side = specdata.SideLeft
		}
		w.procedure.Steps = append(w.procedure.Steps, specdata.Step{Text: "Repeat these steps on the right side."})
	}
	w.finish()
	if w.both {
		steps := w.procedure.Steps
		steps[last+1].Repeat = &specdata.Repeat{From: steps[first].ID, To: steps[last].ID, Side: specdata.SideRight}
		for i := range w.procedure.Parts {
			w.procedure.Parts[i].Quantity *= 2
		}
	}
}

// clean says what is looked at while everything is apart.
func (w *writer) clean() {
	if len(w.fasteners()) == 0 {
		w.step("Inspect "+the(w.part.Title)+" and its seat for wear and damage.", accepting(op(specdata.Inspect, "place:seat"), "clean, no crack, tear or wear; else renew it"))
		return
	}
	if w.part.Wheel {
		w.step("Inspect the wheel, its seats and the threads for damage.", accepting(op(specdata.Inspect, "place:wheel-seats-and-threads"), "no crack, no worn seat, each thread runs in by hand; else renew"))
		return
	}
	w.step("Clean the mating faces, the threads and the seats and inspect them for damage.",
		with(op(specdata.Clean, "place:mating-faces"), w.consumable(specdata.Consumable{ID: "cleaner", Title: "Cleaner that leaves no film"})),
		accepting(op(specdata.Inspect, "place:threads-and-seats"), "clean and dry, no crack or score, each thread runs in by hand; else renew the part"))
}

// onBoth does the acts of a step that have a side on both of them, where the job does.
func (w *writer) onBoth(s specdata.Step) specdata.Step {
	if !w.both {
		return s
	}
	var ops []specdata.Operation
	for _, o := range s.Operations {
		if typ, _ := o.Target.Split(); typ != "fastener" && typ != "part" {
			ops = append(ops, o)
			continue
		}
		for _, side := range []specdata.Side{specdata.SideLeft, specdata.SideRight} {
			o.Side = side
			ops = append(ops, o)
		}
	}
	if len(ops) > len(s.Operations) {
		s.Text = strings.TrimSuffix(s.Text, ".") + ", left and right."
	}
	s.Operations = ops
	return s
}

// fasteners returns the fasteners of the order, in order.
func (w *writer) fasteners() []*specdata.Fastener {
	var fs []*specdata.Fastener
	for _, u := range w.acts {
		if typ, id := u.Target.Split(); typ == "fastener" {
			fs = append(fs, library.Fastener(w.library, id))
		}
	}
	return fs
}

// find returns the element with an id, nil if there is none.
func find[T any](all []T, id string, idOf func(*T) string) *T {
	for i := range all {
		if idOf(&all[i]) == id {
			return &all[i]
		}
	}
	return nil
}

func (w *writer) partOf(t specdata.Target) *specdata.Part {
	typ, id := t.Split()
	if typ != "part" {
		return nil
	}
	return find(w.assembly.Parts, id, func(p *specdata.Part) string { return p.ID })
}

func (w *writer) jointOf(t specdata.Target) *specdata.Joint {
	_, id := t.Split()
	return find(w.assembly.Joints, id, func(j *specdata.Joint) string { return j.ID })
}

func (w *writer) connectionOf(t specdata.Target) *specdata.Connection {
	typ, id := t.Split()
	if typ != "connection" {
		return nil
	}
	return find(w.assembly.Connections, id, func(c *specdata.Connection) string { return c.ID })
}

// circuitOf returns the circuit that undoing a connection opens, nil if none.
func (w *writer) circuitOf(t specdata.Target) *specdata.Circuit {
	if c := w.connectionOf(t); c != nil {
		return w.circuit(c.Circuit)
	}
	return nil
}

func (w *writer) circuit(id string) *specdata.Circuit {
	return find(w.assembly.Circuits, id, func(c *specdata.Circuit) string { return c.ID })
}

// raised reports whether the job is done at an end that is off the ground.
func (w *writer) raised() bool { return w.assembly.End != "" }

// holdsWheel reports whether the fastener holds the road wheel.
func (w *writer) holdsWheel(id string) bool {
	return slices.ContainsFunc(w.assembly.Parts, func(p specdata.Part) bool { return p.Wheel && slices.Contains(p.HeldBy, id) })
}

// brakes returns the fluid of the brake that the job opens or moves, "" where it does
// neither: "brake-fluid" owes strokes of the pedal, "air" a full tank first.
func (w *writer) brakes() string {
	found := ""
	for _, u := range w.acts {
		if p := w.partOf(u.Target); p != nil && (p.Friction && !says(p.Title, "clutch") || says(p.Title, "caliper", "brake pad", "brake shoe", "brake drum", "wheel cylinder", "brake chamber")) {
			found = "brake-fluid"
		}
		if c := w.circuitOf(u.Target); c != nil && c.Fluid == "brake-fluid" {
			found = "brake-fluid"
		}
	}
	if c := w.air(); c != nil && (found != "" || says(c.Title, "brake")) {
		return "air"
	}
	return found
}

// air returns the air circuit that the job opens, nil if it opens none.
func (w *writer) air() *specdata.Circuit {
	for _, u := range w.acts {
		if c := w.circuitOf(u.Target); c != nil && c.Fluid == "air" {
			return c
		}
	}
	return nil
}

// needs reports whether some fastener of the job is tightened in a state.
func (w *writer) needs(s specdata.VehicleState) bool {
	return slices.ContainsFunc(w.fasteners(), func(f *specdata.Fastener) bool { return f.Tightening.State == s })
}

// safety reports whether a fastener of the job is a safety joint of one of the kinds.
func (w *writer) safety(kinds ...string) bool {
	return slices.ContainsFunc(w.fasteners(), func(f *specdata.Fastener) bool { return slices.Contains(kinds, f.Safety) })
}

// undone reports whether the job undoes a thing.
func (w *writer) undone(t specdata.Target) bool { return at(w.acts, t) >= 0 }

// protect adds to what people wear.
func (w *writer) protect(what ...string) {
	for _, p := range what {
		if !slices.Contains(w.procedure.Protection, p) {
			w.procedure.Protection = append(w.procedure.Protection, p)
		}
	}
}

// number names the steps by what they do and to what: "remove-disc".
func (w *writer) number() {
	used := map[string]int{}
	for i := range w.procedure.Steps {
		s := &w.procedure.Steps[i]
		if len(s.Operations) == 0 {
			s.ID = "other-side"
			continue
		}
		o := s.Operations[0]
		for _, each := range s.Operations { // a part or joint tells more than its bolts
			if typ, _ := each.Target.Split(); typ == "part" || typ == "joint" || typ == "connection" {
				o = each
				break
			}
		}
		_, id := o.Target.Split()
		id = kebab(string(o.Do) + "-" + strings.TrimPrefix(id, w.vehicle.ID+"-"))
		if len(id) > specdata.MaxID-4 {
			id = strings.TrimRight(id[:specdata.MaxID-4], "-")
		}
		used[id]++
		if n := used[id]; n > 1 {
			id += "-" + strconv.Itoa(n)
		}
		s.ID = id
	}
}
