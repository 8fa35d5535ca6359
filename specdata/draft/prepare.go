package draft

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// prepare makes the vehicle safe: cold, standing fast, dead, raised.
func (w *writer) prepare() {
	p := w.procedure
	w.protect("eyes", "gloves", "shoes")
	p.Cautions = append(p.Cautions,
		specdata.Caution{Signal: "notice", Hazard: "damage", Text: "A draft that nobody has tried. Work to the vehicle maker's information, local rules and licensed practice."})
	if w.needs(specdata.StateCold) {
		w.step("Let the engine and the exhaust cool down until they are cold to the hand.", accepting(op(specdata.Check, "place:engine-temperature"), "cold to the hand"))
	}
	if w.stands() {
		w.secure()
	}
	for _, e := range w.electrics() {
		w.isolate(e)
	}
	if w.raised() {
		w.raise()
	}
}

// stands reports whether the job wants the vehicle kept from rolling.
func (w *writer) stands() bool {
	return w.raised() || w.air() != nil || slices.Contains(w.electrics(), highVoltage) || w.timed()
}

// timed reports whether the job locks a timing, after which the engine is turned over
// by hand.
func (w *writer) timed() bool {
	for _, as := range w.aids {
		if slices.ContainsFunc(as, aid.times) {
			return true
		}
	}
	return false
}

func (w *writer) endTarget() specdata.Target { return specdata.Target("end:" + w.assembly.End) }

// secure keeps the vehicle from rolling by what the job leaves to hold it: not the
// parking brake of the end that is raised, nor one that air holds off.
func (w *writer) secure() {
	o := with(op(specdata.Secure, "vehicle:whole"), w.tool(specdata.Tool{ID: "chocks", Title: "Wheel chocks", Kind: "chock", Quantity: 4}))
	text := ""
	switch end := w.assembly.End; {
	case w.air() != nil:
		text = "Chock the wheels of every axle both ways on level ground and put the transmission in neutral."
		o.Chocks, o.Gear = []string{"front", "rear"}, "neutral"
	case end == "rear":
		text = "Chock both front wheels on level ground, leave the transmission in gear and release the parking brake."
		o.Chocks, o.ParkingBrake, o.Gear = []string{"front"}, "off", "in"
		if w.timed() {
			text = "Chock both front wheels on level ground, put the transmission in neutral and release the parking brake."
			o.Gear = "neutral"
		}
	case end == "front":
		text = "Chock both rear wheels on level ground and apply the parking brake."
		o.Chocks, o.ParkingBrake = []string{"rear"}, "on"
		if w.timed() {
			text = "Chock both rear wheels on level ground, apply the parking brake and put the transmission in neutral."
			o.Gear = "neutral"
		}
	case slices.Contains(w.electrics(), highVoltage):
		text = "Chock the wheels, switch the vehicle off, take the charging cable out and keep the key away from the vehicle."
		o.Chocks, o.ParkingBrake = []string{"front", "rear"}, "on"
	default:
		text = "Chock the wheels on level ground, apply the parking brake and put the transmission in neutral."
		o.Chocks, o.ParkingBrake, o.Gear = []string{"front", "rear"}, "on", "neutral"
	}
	w.step(text, o)
	if w.raised() && w.needs(specdata.StateRideHeight) {
		how := ""
		if h := w.assembly.RideHeight; h != nil {
			how = " from " + strings.Replace(h.Measure, " to ", " to the ", 1)
		} else {
			w.missing = append(w.missing, "between which points the ride height is measured; add ride_height to assembly "+w.assembly.ID)
		}
		o := using(op(specdata.Measure, specdata.Target("suspension:"+w.assembly.End)), w.tool(specdata.Tool{ID: "tape-measure", Title: "Tape measure", Kind: "gauge", Resolution: specdata.MustQuantity("1 mm")}))
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
			s := newStep("Slacken the "+named(f)+" a quarter turn"+leftHand(f, true)+" with the wheels on the ground.", o)
			forOptions(&s, w.where(f))
			w.procedure.Steps = append(w.procedure.Steps, w.onBoth(s))
		}
	}
	jack := w.tool(specdata.Tool{ID: "jack", Title: "Trolley jack, rated for the vehicle", Kind: "jack"})
	stands := w.tool(specdata.Tool{ID: "stands", Title: "Axle stands, rated for the vehicle", Kind: "stand", Quantity: 2})
	s := w.step("Raise the "+end+" at the jacking point and set it on stands.", using(op(specdata.Raise, w.endTarget()), jack), using(op(specdata.Support, w.endTarget()), stands))
	s.Cautions = []specdata.Caution{{Signal: "warning", Hazard: "crushing", Text: "A vehicle on a jack alone can fall and kill. Put no part of the body under it before it rests on stands."}}
}

const highVoltage = "high-voltage"

// electrics returns what must be dead: for the connections of the job, and high
// voltage for any of it that lies open there or is laid open.
func (w *writer) electrics() []string {
	var es []string
	for _, system := range []string{highVoltage, "battery", "airbag"} {
		if slices.ContainsFunc(w.assembly.Connections, func(c specdata.Connection) bool {
			return c.Electrics == system && (w.undone(specdata.Target("connection:"+c.ID)) || system == highVoltage && w.inReach(&c))
		}) {
			es = append(es, system)
		}
	}
	return es
}

// inReach reports whether a connection lies open: nothing is in front of it, or
// something that is comes off.
func (w *writer) inReach(c *specdata.Connection) bool {
	return len(c.Behind) == 0 || slices.ContainsFunc(c.Behind, func(id string) bool {
		return slices.ContainsFunc(w.acts, func(u Undo) bool { _, other := u.Target.Split(); return other == id })
	})
}

// exposed returns the acts that take something away from in front of high voltage, and
// by the last of them for a connection what lies open then.
func (w *writer) exposed() (opens map[int]bool, live map[int][]string) {
	opens, live = map[int]bool{}, map[int][]string{}
	for i := range w.assembly.Connections {
		c := &w.assembly.Connections[i]
		if c.Electrics != highVoltage {
			continue
		}
		last := -1
		for n, u := range w.acts {
			if typ, id := u.Target.Split(); typ != "fastener" && slices.Contains(c.Behind, id) {
				opens[n], last = true, n
			}
		}
		if last >= 0 {
			live[last] = append(live[last], the(c.Title))
		}
	}
	return opens, live
}

// leastWait returns the time of the assembly's record for something.
func (w *writer) leastWait(what string) specdata.Quantity {
	if t := find(w.assembly.Waits, what, func(t *specdata.WaitTime) string { return t.For }); t != nil {
		return t.Least
	}
	return specdata.Quantity{}
}

// wait waits until something is safe; where the record names no time it is missing.
func (w *writer) wait(system, until string) {
	o := op(specdata.Wait, specdata.Target("electrics:"+system))
	o.For = w.leastWait(system)
	if o.For.IsZero() {
		w.step("Wait the time that the vehicle maker gives "+until+".", o)
		w.missing = append(w.missing, "the time to wait after the "+strings.ReplaceAll(system, "-", " ")+" is isolated; take it from the vehicle maker's information and add it to the waits of assembly "+w.assembly.ID)
		return
	}
	w.step("Wait {wait} "+until+".", o)
}

func (w *writer) isolate(system string) {
	t := specdata.Target("electrics:" + system)
	switch system {
	case "battery":
		s := w.step("Switch the ignition off and disconnect the battery, negative lead first.", op(specdata.Isolate, t))
		s.Cautions = []specdata.Caution{{Signal: "caution", Hazard: "electric-shock", Text: "A spanner across the battery burns. Keep tools and rings off the terminals and wrap the lead that is off."}}
		if !w.leastWait(system).IsZero() {
			w.wait(system, "until the control units are asleep")
		}
	case "airbag":
		s := w.step("Isolate the airbag system as the vehicle maker says.", op(specdata.Isolate, t))
		s.Cautions = []specdata.Caution{{Signal: "warning", Hazard: "airbag", Text: "A live restraint can fire and kill. Nobody works on it before the waiting time is over."}}
		w.wait(system, "until the restraints have lost their charge")
	case highVoltage:
		w.protect("face", "high-voltage-gloves")
		lock := w.tool(specdata.Tool{ID: "isolator-lock", Title: "Lock and tag for the isolator", Kind: "holder"})
		s := w.step("Pull the service plug or open the isolator, lock it off, tag it and keep the key on you.", op(specdata.Isolate, t), with(op(specdata.LockOff, t), lock))
		s.Cautions = []specdata.Caution{
			{Signal: "danger", Hazard: "electric-shock", Text: "High voltage kills. Only a person qualified and authorised for it isolates, proves dead and works here; a second person stays within sight."},
			{Signal: "danger", Hazard: "electric-shock", Text: "From here until it is proved dead wear insulating gloves that are rated for the voltage, tested and in date, and a face shield."},
		}
		w.wait(system, "until the capacitors have lost their charge")
		w.proveDead("Prove the system dead at the measuring points that the vehicle maker names, the tester proved on the proving unit just before and just after.", "no reading between any two points and none to the body")
	}
}

func (w *writer) proveDead(text, accept string) {
	tester := w.tool(specdata.Tool{ID: "voltage-tester", Title: "Two-pole voltage tester, rated for the system", Kind: "voltage-tester"})
	prover := w.tool(specdata.Tool{ID: "proving-unit", Title: "Proving unit for the tester", Kind: "hand"})
	w.step(text, accepting(with(using(op(specdata.ProveDead, "electrics:"+highVoltage), tester), prover), accept))
}

// restore brings a system back.
func (w *writer) restore(system string) {
	t := specdata.Target("electrics:" + system)
	switch system {
	case "battery":
		w.step("Connect the battery, negative lead last.", op(specdata.Restore, t))
		w.last = append(w.last, newStep("Set the clock and initialise the windows and what else forgets without power.", op(specdata.Relearn, "place:clock-and-windows")))
	case highVoltage:
		w.step("Take the lock and the tag off and put the service plug back, still in the insulating gloves.", op(specdata.Restore, t))
	default:
		w.step("Bring the "+strings.ReplaceAll(system, "-", " ")+" system back as the vehicle maker says, nobody in the seats.", op(specdata.Restore, t))
	}
}
