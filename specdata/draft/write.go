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
	order     Order
	procedure *specdata.Procedure
	missing   []string
	// loaded are the tightenings that wait for ride height, grounded those that wait
	// for the wheels to be on the ground.
	loaded, grounded []specdata.Step
	// last are checks and advice at the very end.
	last []specdata.Step
	// both says that the job is done on both sides: what rubs is renewed in pairs.
	both bool
	// relieved and opened are circuits by id: let down, and opened by the job.
	relieved, opened map[string]bool
	// filled are the circuits that the job opened and closed again.
	filled []*specdata.Circuit
}

// maxOps is how many operations a step holds.
const maxOps = 4

func (w *writer) write() {
	w.relieved, w.opened = map[string]bool{}, map[string]bool{}
	w.both = w.assembly.Handed && slices.ContainsFunc(w.order.Acts, func(u Undo) bool {
		p := w.partOf(u.Target)
		return p != nil && p.Renew && p.Friction
	})
	if w.both {
		w.procedure.Sides = "both"
	}
	w.prepare()
	first := len(w.procedure.Steps)
	w.dismantle()
	w.step("Clean the mating faces, the threads and the seats and inspect them for damage.",
		with(op(specdata.Clean, "place:mating-faces"), w.consumable(specdata.Consumable{ID: "cleaner", Title: "Cleaner that leaves no film"})),
		accepting(op(specdata.Inspect, "place:threads-and-seats"), "clean and dry, no crack or score, each thread runs in by hand; else renew the part"))
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

func (w *writer) step(text string, ops ...specdata.Operation) *specdata.Step {
	w.procedure.Steps = append(w.procedure.Steps, newStep(text, ops...))
	return &w.procedure.Steps[len(w.procedure.Steps)-1]
}

func newStep(text string, ops ...specdata.Operation) specdata.Step {
	return specdata.Step{Text: text, Operations: ops}
}

func op(v specdata.Verb, t specdata.Target) specdata.Operation {
	return specdata.Operation{Do: v, Target: t}
}

func with(o specdata.Operation, id string) specdata.Operation {
	o.With = id
	return o
}

func using(o specdata.Operation, tool string) specdata.Operation {
	o.Tool = tool
	return o
}

func accepting(o specdata.Operation, criterion string) specdata.Operation {
	o.Accept = criterion
	return o
}

func target(f *specdata.Fastener) specdata.Target { return specdata.Target("fastener:" + f.ID) }

// fasteners returns the fasteners of the order, in order.
func (w *writer) fasteners() []*specdata.Fastener {
	var fs []*specdata.Fastener
	for _, u := range w.order.Acts {
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

func (w *writer) circuit(id string) *specdata.Circuit {
	return find(w.assembly.Circuits, id, func(c *specdata.Circuit) string { return c.ID })
}

// raised reports whether the job is done at an end that is off the ground.
func (w *writer) raised() bool { return w.assembly.End != "" }

func (w *writer) endTarget() specdata.Target { return specdata.Target("end:" + w.assembly.End) }

func (w *writer) otherEnd() string {
	if w.assembly.End == "rear" {
		return "front"
	}
	return "rear"
}

// holdsWheel reports whether the fastener holds the road wheel.
func (w *writer) holdsWheel(id string) bool {
	return slices.ContainsFunc(w.assembly.Parts, func(p specdata.Part) bool { return p.Wheel && slices.Contains(p.HeldBy, id) })
}

// isBrake reports whether the job opens or moves the friction brake: the pedal owes a stroke.
func (w *writer) isBrake() bool {
	for _, u := range w.order.Acts {
		if p := w.partOf(u.Target); p != nil && (p.Friction && !specdata.HasWord(p.Title, "clutch") || specdata.HasWord(p.Title, "caliper", "brake", "wheel cylinder")) {
			return true
		}
		if c := w.connectionOf(u.Target); c != nil {
			if circuit := w.circuit(c.Circuit); circuit != nil && circuit.Fluid == "brake-fluid" {
				return true
			}
		}
	}
	return slices.ContainsFunc(w.fasteners(), func(f *specdata.Fastener) bool { return f.Safety == "brake" })
}

// needs reports whether some fastener of the job is tightened in a state.
func (w *writer) needs(s specdata.VehicleState) bool {
	return slices.ContainsFunc(w.fasteners(), func(f *specdata.Fastener) bool { return f.Tightening.State == s })
}

// electrics returns what must be dead for the connections of the job.
func (w *writer) electrics() []string {
	var es []string
	for _, u := range w.order.Acts {
		if c := w.connectionOf(u.Target); c != nil && c.Electrics != "" && !slices.Contains(es, c.Electrics) {
			es = append(es, c.Electrics)
		}
	}
	return es
}

func (w *writer) prepare() {
	p := w.procedure
	p.Cautions = append(p.Cautions,
		specdata.Caution{Signal: "warning", Hazard: "cut", Text: "Wear eye protection, gloves and safety shoes for the whole job."},
		specdata.Caution{Signal: "notice", Hazard: "damage", Text: "A draft that nobody has tried. Work to the vehicle maker's information, local rules and licensed practice."})
	if w.needs(specdata.StateCold) {
		w.step("Let the engine and the exhaust cool down until they are cold to the hand.", accepting(op(specdata.Check, "place:engine-temperature"), "cold to the hand"))
	}
	if w.raised() {
		w.secure()
	}
	for _, e := range w.electrics() {
		w.isolate(e)
	}
	if w.raised() {
		w.raise()
	}
}

func (w *writer) secure() {
	end := w.assembly.End
	text := "Chock both rear wheels on level ground and apply the parking brake."
	if end == "rear" {
		text = "Chock both front wheels on level ground, leave the transmission in gear and release the parking brake."
	}
	o := with(op(specdata.Secure, "vehicle:whole"), w.tool(specdata.Tool{ID: "chocks", Title: "Wheel chocks", Kind: "chock", Quantity: 4}))
	o.Chocks, o.ParkingBrake = []string{w.otherEnd()}, "on"
	if end == "rear" {
		o.ParkingBrake, o.Gear = "off", "in"
	}
	w.step(text, o)
	if w.needs(specdata.StateRideHeight) {
		how := ""
		if h := w.assembly.RideHeight; h != nil {
			how = " from " + strings.Replace(h.Measure, " to ", " to the ", 1)
		} else {
			w.missing = append(w.missing, "assembly "+w.assembly.ID+" does not say how ride height is measured")
		}
		o := using(op(specdata.Measure, specdata.Target("suspension:"+end)), w.tool(specdata.Tool{ID: "tape-measure", Title: "Tape measure", Kind: "gauge"}))
		w.step("Measure the ride height"+how+" and write it down.", accepting(o, "written down for the loading step"))
	}
}

func (w *writer) raise() {
	end := w.assembly.End
	for _, f := range w.fasteners() {
		if w.holdsWheel(f.ID) {
			o := op(specdata.Slacken, target(f))
			o.By = specdata.MustQuantity("90 deg")
			o.Tool = w.tool(specdata.Tool{ID: "breaker-bar", Title: "Breaker bar", Kind: "hand"})
			w.procedure.Steps = append(w.procedure.Steps, w.onBoth(newStep("Slacken the "+named(f)+" a quarter turn"+leftHand(f, true)+" with the wheels on the ground.", o)))
		}
	}
	jack := w.tool(specdata.Tool{ID: "jack", Title: "Trolley jack, rated for the vehicle", Kind: "jack"})
	stands := w.tool(specdata.Tool{ID: "stands", Title: "Axle stands, rated for the vehicle", Kind: "stand", Quantity: 2})
	s := w.step("Raise the "+end+" at the jacking point and set it on stands.", using(op(specdata.Raise, w.endTarget()), jack), using(op(specdata.Support, w.endTarget()), stands))
	s.Cautions = []specdata.Caution{{Signal: "warning", Hazard: "crushing", Text: "A vehicle on a jack alone can fall and kill. Put no part of the body under it before it rests on stands."}}
}

func (w *writer) isolate(system string) {
	t := specdata.Target("electrics:" + system)
	switch system {
	case "battery":
		s := w.step("Switch the ignition off and disconnect the battery, negative lead first.", op(specdata.Isolate, t))
		s.Cautions = []specdata.Caution{{Signal: "caution", Hazard: "electric-shock", Text: "A spanner across the battery burns. Keep tools and rings off the terminals and wrap the lead that is off."}}
	case "airbag":
		s := w.step("Isolate the airbag system as the vehicle maker says and wait the time that the vehicle maker gives.", op(specdata.Isolate, t), op(specdata.Wait, t))
		s.Cautions = []specdata.Caution{{Signal: "warning", Hazard: "airbag", Text: "A live restraint can fire and kill. Nobody works on it before the waiting time is over."}}
		w.missing = append(w.missing, "the minutes to wait after the airbag system is isolated; take them from the vehicle maker's information")
	default:
		s := w.step("Have the "+strings.ReplaceAll(system, "-", " ")+" system isolated, locked off and proved dead by a person qualified for it.", op(specdata.Isolate, t))
		s.Cautions = []specdata.Caution{{Signal: "danger", Hazard: "electric-shock", Text: "High voltage kills. Only a qualified person isolates it, waits, and proves it dead with a tester that was proved before and after."}}
		w.missing = append(w.missing, "the isolation procedure of the "+strings.ReplaceAll(system, "-", " ")+" system; take it from the vehicle maker's information")
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
