package dryrun

import (
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// stands is how the vehicle is kept from rolling: "" and nil where nothing says.
type stands struct {
	chocks      []string
	brake, gear string
}

// system is the state of electrics that are isolated.
type system struct {
	locked, proved bool
	// waited is in seconds; waits counts waits without a time as well.
	waited float64
	waits  int
}

func (m *machine) system(id string) *system {
	s := m.systems[id]
	if s == nil {
		s = &system{}
		m.systems[id] = s
	}
	return s
}

// The needs about rolling, lifts, brakes, the engine and electrics.
var (
	chockedElsewhere = need{"chocks at the end that stays down", func(m *machine, x *subject) {
		if len(m.stands.chocks) == 1 && m.stands.chocks[0] == x.id {
			m.fail(x, CauseNotSecured, "chocked only at the "+x.id+", the end that leaves the ground", "chocks at the end that stays down", "chock the other end")
		}
	}}
	liftNamed = need{"a lift among the tools, named by the act", func(m *machine, x *subject) {
		if !m.isLift(x.Tool) && !m.isLift(x.With) {
			m.fail(x, CauseUnsupported, "raised as a whole by nothing that is a lift", "a tool of kind lift", "list the lift and name it as the tool, or raise one end")
		}
		if m.end("front") != Ground || m.end("rear") != Ground {
			m.fail(x, CauseTwice, "off the ground already", "a vehicle on the ground", "remove the second raise")
		}
	}}
	onLift = need{"vehicle on the lift", func(m *machine, x *subject) {
		if e := m.end("front"); e != OnLift && e != OnPlatform {
			m.fail(x, CauseNeverUndone, "not on a lift", "a vehicle on the lift", "remove the step, or raise vehicle:whole with the lift")
		}
	}}
	bothWheelsRunDown = need{"road wheels on and their fasteners run down", func(m *machine, x *subject) {
		for _, end := range ends {
			m.wheelsOnAt(x, end)
		}
	}}
	chocksSet = need{"chocks under the wheels", func(m *machine, x *subject) {
		if !m.secured {
			m.fail(x, CauseNeverUndone, "not chocked", "chocks under the wheels", removeStep)
		}
	}}
	standsOnWheels = need{"vehicle on its wheels", func(m *machine, x *subject) {
		for _, end := range ends {
			if !m.end(end).WheelsCarry() {
				m.fail(x, CauseNotSecured, "without its chocks while the "+end+" end is "+m.end(end).String(), "the vehicle on its wheels", "move the release behind "+paste(specdata.Lower, endTarget(end)))
				return
			}
		}
	}}
	brakesWhole   = need{"every part of the brakes on, no clamp on a cylinder", (*machine).brakesWhole}
	brakeReleased = need{"parking brake off for a rear brake", func(m *machine, x *subject) {
		if x.sp != nil && isBrake(x.sp.part) && x.sp.assembly.End == "rear" && m.stands.brake == "on" {
			m.fail(x, CauseBrake, "held by the parking brake, which is on", "the parking brake off, the vehicle chocked", "add "+paste(specdata.Secure, "vehicle:whole", "parking_brake: off")+" before it")
		}
	}}
	noAids = need{"no locking pin, strap or holder left in the engine", func(m *machine, x *subject) {
		for _, e := range m.ledger.left() {
			if e.Debt == DebtAid && specdata.HasWord(strings.ReplaceAll(string(e.Thing.Target), "-", " ")+" "+e.name, engineAids...) {
				m.failBy(x, e.Thing.Target, CauseEngine, "to run with "+e.Title()+" in place since "+e.Act.Where(), "every aid away", m.closing(e)+" before it")
			}
		}
	}}
	everythingRuns = need{"belts, fans and guards on and tight", (*machine).everythingRuns}
	allClosed      = need{"every circuit full and closed", func(m *machine, x *subject) {
		for _, id := range m.model.circuitIDs {
			m.closedWhole(x, id)
		}
	}}
	gearNeutral = need{"transmission in neutral", func(m *machine, x *subject) {
		if m.stands.gear == "in" {
			m.fail(x, CauseEngine, "to run with the transmission in gear", "neutral or park", "add "+paste(specdata.Secure, "vehicle:whole", "gear: neutral")+" before it")
		}
	}}
	batteryOn = need{"battery connected", func(m *machine, x *subject) {
		if m.dead["battery"] {
			m.fail(x, CauseEngine, "to run with the battery isolated", "the battery connected", "add "+paste(specdata.Restore, "electrics:battery")+" before it")
		}
	}}
	freeToTurn = need{"transmission in neutral, parking brake off at the rear", func(m *machine, x *subject) {
		switch {
		case m.stands.gear == "in":
			m.fail(x, CauseTurn, "held by the transmission, which is in gear", "neutral", "add "+paste(specdata.Secure, "vehicle:whole", "gear: neutral")+" before it")
		case m.stands.brake == "on" && x.End == "rear":
			m.fail(x, CauseTurn, "held by the parking brake, which is on", "the parking brake off", "add "+paste(specdata.Secure, "vehicle:whole", "parking_brake: off")+" before it")
		}
	}}
	lockedOff = need{"locked off, so that nobody else makes it live", func(m *machine, x *subject) {
		if !m.system(x.id).locked {
			m.fail(x, CauseNotProved, "isolated, but not locked off", "the isolator locked and tagged", "add "+paste(specdata.LockOff, x.Target)+" before it")
		}
	}}
	waitedFor  = need{"the time of the record waited", func(m *machine, x *subject) { m.waitedLongEnough(x, x.id, true) }}
	withTester = need{"a voltage tester named by the act", func(m *machine, x *subject) {
		if t := m.procedure.ToolOf(x.Tool); t == nil || t.Kind != "voltage-tester" {
			m.fail(x, CauseNotProved, "to be proved dead without a voltage tester", "a tool of kind voltage-tester", "list the tester and name it as the tool")
		}
	}}
	levelReadable = need{"vehicle level and the right opening open, for a level", (*machine).levelReadable}
	coldCircuit   = need{"cold, for coolant", func(m *machine, x *subject) {
		if c := m.model.circuits[x.id]; c != nil {
			m.cold(x, c)
		}
	}}
	somethingOpen  = need{"something open that lets it out", (*machine).somethingOpen}
	openingsClosed = need{"every plug, cover, filter and clamp of the circuit closed", func(m *machine, x *subject) { m.openingsOf(x, x.id, x.Do != specdata.Fill) }}
)

// engineAids are the words of aids that sit in the engine or its drive.
var engineAids = []string{"pin", "pins", "lock", "locking", "locked", "timing", "flywheel", "crank", "crankshaft", "cam", "camshaft", "tensioner", "belt", "chain", "sprocket", "pulley", "strap"}

func (m *machine) isLift(tool string) bool {
	t := m.procedure.ToolOf(tool)
	return t != nil && t.Kind == "lift"
}

// platform reports whether the lift of an act carries the vehicle on its wheels.
func (m *machine) platform(x *subject) bool {
	for _, id := range []string{x.Tool, x.With} {
		if t := m.procedure.ToolOf(id); t != nil && t.Kind == "lift" {
			return specdata.HasWord(t.Title, "four", "platform", "drive-on", "scissor")
		}
	}
	return false
}

func (m *machine) lift(x *subject) {
	to := OnLift
	if m.platform(x) {
		to = OnPlatform
	}
	for _, end := range ends {
		m.setEnd(end, to)
	}
}

func (m *machine) liftDown(*subject) {
	for _, end := range ends {
		m.setEnd(end, Ground)
	}
}

func (m *machine) secure(x *subject) {
	m.setSecured(true)
	if len(x.Chocks) > 0 {
		m.stands.chocks = x.Chocks
		m.ledger.add(Entry{Debt: DebtChocks, Thing: x.key, name: "set of chocks", State: "under the wheels", Act: x.Act})
	}
	if x.ParkingBrake != "" {
		m.stands.brake = x.ParkingBrake
	}
	if x.Gear != "" {
		m.stands.gear = x.Gear
	}
}

func (m *machine) release(x *subject) {
	m.setSecured(false)
	m.stands.chocks = nil
	m.ledger.close(DebtChocks, x.key)
}

// brakesWhole reports a pedal that would push a piston out: something of the brakes
// is off, a line is open, or a clamp sits on a cylinder.
func (m *machine) brakesWhole(x *subject) {
	for _, b := range m.model.brakes {
		for _, side := range eitherSide {
			if s := m.states[m.keyOf(b, side)]; s != nil && s.is == Off {
				m.failBy(x, b.key, CauseBrake, "worked with "+specdata.InSentence(b.title)+" off since "+s.last.Where()+", which lets a piston out", "every part of the brakes on", "move it behind "+putBack(b))
				return
			}
		}
	}
	for _, id := range m.model.circuitIDs {
		if m.model.circuits[id].Fluid == "brake-fluid" {
			m.made(m.model.lines[id], func(c *spec, since, mend string) {
				m.failBy(x, c.key, CauseBrake, "worked with the circuit open at "+since, "every connection of it made and tight", mend+" before it")
			})
		}
	}
	for _, e := range m.ledger.left() {
		if e.Debt == DebtAid && specdata.HasWord(strings.ReplaceAll(string(e.Thing.Target), "-", " ")+" "+e.name, "cylinder", "piston", "caliper") {
			m.failBy(x, e.Thing.Target, CauseBrake, "worked with "+e.Title()+" in place since "+e.Act.Where(), "the clamp away", m.closing(e)+" before it")
		}
	}
}

// everythingRuns reports a part that turns with the engine, or guards what does, that
// is off or loose.
func (m *machine) everythingRuns(x *subject) {
	for _, p := range m.model.runs {
		if st := m.states[m.keyOf(p, "")]; st != nil && st.is == Off {
			m.failBy(x, p.key, CauseEngine, "to run with "+specdata.InSentence(p.title)+" off since "+st.last.Where(), "it fitted and tight", "add "+putBack(p)+" before it")
			continue
		}
		for _, id := range p.heldBy {
			if s := m.firstLoose(id, ""); s != nil {
				f := specdata.Target("fastener:" + id)
				m.failBy(x, f, CauseEngine, "to run with "+m.fastenerTitle(id)+" "+s.is.String()+" since "+s.last.Where(), "it at its final value", "add "+paste(specdata.Tighten, f)+" before it")
			}
		}
	}
}

// firstLoose returns the state of a fastener, or of the first position of it, that
// this procedure loosened and has not made final; nil if there is none.
func (m *machine) firstLoose(id string, side specdata.Side) *state {
	for _, key := range m.fastenerKeys(id, side) {
		if s := m.states[key]; s != nil && s.touched && s.is != AtFinal {
			return s
		}
	}
	return nil
}

// open returns the first of some openings that is open, and its state.
func (m *machine) open(ts []specdata.Target) (specdata.Target, *state) {
	for _, t := range ts {
		typ, id := t.Split()
		for _, side := range eitherSide {
			if typ == "fastener" {
				if s := m.firstLoose(id, side); s != nil {
					return t, s
				}
				continue
			}
			if sp := m.model.things[t]; sp != nil {
				if s := m.states[m.keyOf(sp, side)]; s != nil && s.touched && s.is != InPlace {
					return t, s
				}
			}
		}
	}
	return "", nil
}

// openingsOf reports a plug, cover, filter or clamp of a circuit that is open; all of
// them where whole is set, else not those that it is filled through or its level read.
func (m *machine) openingsOf(x *subject, id string, whole bool) {
	c := m.model.circuits[id]
	if c == nil || len(c.ClosedBy)+len(c.Drain)+len(c.Fill)+len(c.Level) == 0 {
		return
	}
	ts := slices.Concat(c.ClosedBy, c.Drain)
	if whole {
		ts = slices.Concat(ts, c.Fill, c.Level)
	} else {
		ts = slices.DeleteFunc(ts, func(t specdata.Target) bool { return slices.Contains(c.Fill, t) || slices.Contains(c.Level, t) })
	}
	if t, s := m.open(ts); s != nil {
		name := m.titleOf(t)
		m.failBy(x, t, CauseCircuitOpen, "open at "+name+", which is "+s.is.String()+" since "+s.last.Where(), "everything that closes the "+specdata.InSentence(c.Title)+" in place and tight", "close "+name+" before it")
	}
}

// titleOf returns a target's title in a sentence.
func (m *machine) titleOf(t specdata.Target) string {
	typ, id := t.Split()
	if typ == "fastener" {
		return m.fastenerTitle(id)
	}
	if sp := m.model.things[t]; sp != nil {
		return specdata.InSentence(sp.title)
	}
	return strings.ReplaceAll(id, "-", " ")
}

// closedWhole reports a circuit that the engine would empty: drained, or open somewhere.
func (m *machine) closedWhole(x *subject, id string) {
	c := m.model.circuits[id]
	t := specdata.Target("circuit:" + id)
	if s := m.circuits[id]; s != nil && s.drained {
		m.failBy(x, t, CauseCircuitOpen, "to run with the "+specdata.InSentence(c.Title)+" drained", "a full circuit", "add "+paste(specdata.Fill, t)+" before it")
		return
	}
	m.made(m.model.lines[id], func(l *spec, since, mend string) {
		m.failBy(x, l.key, CauseCircuitOpen, "to run with the circuit open at "+since, "every connection of the circuit made and tight", mend+" before it")
	})
	m.openingsOf(x, id, true)
}

// somethingOpen reports a circuit drained though nothing is open that lets it out.
func (m *machine) somethingOpen(x *subject) {
	c := m.model.circuits[x.id]
	if c == nil || len(c.Drain) == 0 {
		return // its openings are not known
	}
	for _, l := range m.model.lines[x.id] {
		for _, side := range eitherSide {
			if m.away(l, side) {
				return
			}
		}
	}
	if _, s := m.open(slices.Concat(c.Drain, c.ClosedBy)); s == nil {
		name := m.titleOf(c.Drain[0])
		m.failBy(x, c.Drain[0], CauseNoOpening, "closed: "+name+" is in place", name+" or another opening open", "open "+name+" before it")
	}
}

// levelReadable reports a level that is read with the vehicle at a slant, or with the
// opening closed through which it is read.
func (m *machine) levelReadable(x *subject) {
	c := m.levelOf(x)
	if c == nil {
		return
	}
	if f, r := m.end("front"), m.end("rear"); f.WheelsCarry() != r.WheelsCarry() {
		m.fail(x, CauseLevel, "read with the front end "+f.String()+" and the rear end "+r.String(), "the vehicle level, both ends alike", "read the level with both ends on the ground, or both raised alike")
	}
	if _, s := m.open(c.Level); s == nil {
		name := m.titleOf(c.Level[0])
		m.failBy(x, c.Level[0], CauseLevel, "read with "+name+" in place", name+" open", "open "+name+" before it and close it afterwards")
	}
}

// levelOf returns the circuit whose level an act reads through an opening, nil if it reads none.
func (m *machine) levelOf(x *subject) *specdata.Circuit {
	if !specdata.HasWord(strings.ReplaceAll(x.id, "-", " ")+" "+x.Accept, "level") {
		return nil
	}
	if x.typ == "circuit" {
		if c := m.model.circuits[x.id]; c != nil && len(c.Level) > 0 {
			return c
		}
		return nil
	}
	var only *specdata.Circuit
	if x.typ == "place" {
		for _, id := range m.model.circuitIDs {
			if c := m.model.circuits[id]; len(c.Level) > 0 {
				if only != nil {
					return nil // which one, nobody says
				}
				only = c
			}
		}
	}
	return only
}

// cold reports coolant let out while the engine is hot.
func (m *machine) cold(x *subject, c *specdata.Circuit) {
	if c.Fluid == "coolant" {
		m.coldFor(x, "opened hot")
	}
}

func (m *machine) coldFor(x *subject, doing string) {
	if m.hot {
		m.fail(x, CauseHot, doing+": the engine has run and nothing has cooled since", "it cold", "add "+paste(specdata.Wait, "place:engine")+" or a check that it is cold before it")
	}
}

func (m *machine) ran(*subject) {
	m.hot = true
	for _, c := range m.circuits {
		c.relieved = false
	}
}

func (m *machine) wait(x *subject) {
	m.hot = false
	if x.typ == "electrics" {
		s := m.system(x.id)
		s.waits++
		s.waited += x.For.SI()
	}
}

// provedDead reports work on high voltage that nobody proved dead, and on a restraint
// before the time of its record is over.
func (m *machine) provedDead(x *subject, id string) {
	if id == "high-voltage" && m.dead[id] && !m.system(id).proved {
		t := specdata.Target("electrics:" + id)
		m.failBy(x, t, CauseNotProved, "isolated, but not proved dead", "the "+electrics(id)+" locked off, waited for and proved dead", "add "+paste(specdata.ProveDead, t)+" before it")
	}
	if id == "airbag" && m.dead[id] && m.model.waits[id] > 0 {
		m.waitedLongEnough(x, id, false)
	}
}

// waitedLongEnough reports a system worked on before the time of its record is over.
func (m *machine) waitedLongEnough(x *subject, id string, must bool) {
	s, least := m.system(id), m.model.waits[id]
	t := specdata.Target("electrics:" + id)
	switch {
	case least > 0 && s.waited < least:
		m.failBy(x, t, CauseNotProved, "isolated for "+minutes(s.waited)+" only", "a wait of "+minutes(least)+" at least, by the record of the assembly", "add "+paste(specdata.Wait, t, "for: "+minutes(least))+" before it")
	case least == 0 && must && s.waits == 0:
		m.failBy(x, t, CauseNotProved, "isolated, and nothing waits for it to discharge", "the wait that the vehicle maker gives", "add "+paste(specdata.Wait, t, "for: …")+" before it")
	}
}

func minutes(seconds float64) string { return strconv.FormatFloat(seconds/60, 'f', -1, 64) + " min" }

// calibrationOwed opens what an act on a target owes by its assembly.
func (m *machine) calibrationOwed(x *subject) {
	for _, o := range m.model.owes[x.Target] {
		m.ledger.add(Entry{Debt: DebtCalibrate, Thing: Thing{Target: specdata.Target("place:" + o.ID)}, name: o.Title, State: "not calibrated", Act: x.Act})
	}
}

func (m *machine) calibrate(x *subject) { m.ledger.close(DebtCalibrate, x.key) }
