package dryrun

import (
	"strings"

	"proofload/specdata"
)

func (m *machine) secure(a *Act) {
	m.setSecured(true)
}

func (m *machine) raise(a *Act) {
	end := a.id
	if !m.secured {
		m.fail(a, CauseNotSecured, "free to roll", "the vehicle secured", "add "+paste(specdata.Secure, "vehicle:whole")+" before it, with chocks at the other end")
	}
	if m.end(end) != Ground {
		m.fail(a, CauseTwice, string(m.end(end)), "an end on the ground", "remove the second raise")
	}
	m.setEnd(end, Raised)
	m.warned[end] = false
	m.ledger.add(Entry{Debt: DebtRaised, Thing: "end:" + end, name: end + " end", State: string(Raised), Act: a})
}

func (m *machine) support(a *Act) {
	end := a.id
	switch m.end(end) {
	case Ground:
		m.fail(a, CauseEnd, string(Ground), "the end raised", "add "+paste(specdata.Raise, "end:"+end)+" before it")
	case Supported:
		m.fail(a, CauseTwice, string(Supported), "an end on the jack", "remove the second support")
	}
	m.setEnd(end, Supported)
}

func (m *machine) lower(a *Act) {
	end := a.id
	if m.end(end) == Ground {
		m.fail(a, CauseTwice, string(Ground), "the end raised", "remove the lower, or add "+paste(specdata.Raise, "end:"+end)+" before it")
	}
	if m.loaded[end] {
		m.fail(a, CauseAid, "held up by the jack under the suspension", "the suspension jack away", "add "+paste(specdata.UnloadSuspension, "suspension:"+end)+" before it")
	}
	m.wheelsOn(a, end)
	m.setEnd(end, Ground)
	m.ledger.close(DebtRaised, "end:"+end)
}

// wheelsOn reports a road wheel of the end that is off or not run down.
func (m *machine) wheelsOn(a *Act, end string) {
	for _, key := range m.touchedWheels(end) {
		st := m.states[key.key]
		if st.is == off {
			m.fail(a, CauseWheelLoose, "to come down on a wheel that is off since "+st.last.Where(), "the wheel on and its fasteners run down", "add "+paste(specdata.Fit, key.spec.target())+" and snug its fasteners before it")
			continue
		}
		for _, id := range key.spec.heldBy {
			for _, fk := range m.fastenerKeys(id, key.side) {
				fs := m.states[fk]
				if fs == nil || fs.is != removed && fs.is != started {
					continue
				}
				m.failBy(a, specdata.Target("fastener:"+id), CauseWheelLoose, "to come down on a wheel whose "+m.fastenerTitle(id)+" is "+string(fs.is)+" since "+fs.last.Where(), "the wheel fasteners run down", "add "+paste(specdata.Snug, "fastener:"+id)+" before it")
				break
			}
		}
	}
}

type wheelKey struct {
	spec *spec
	key  string
	side specdata.Side
}

func (m *machine) touchedWheels(end string) []wheelKey {
	var keys []wheelKey
	for _, w := range m.model.wheelsAt[end] {
		for _, side := range []specdata.Side{"", specdata.SideLeft, specdata.SideRight} {
			k := m.keyOf(w, side)
			if side != "" && k == w.target() {
				continue // there is one for both sides
			}
			if st := m.states[k]; st != nil && st.touched {
				keys = append(keys, wheelKey{w, k, side})
			}
		}
	}
	return keys
}

func (m *machine) loadSuspension(a *Act) {
	end := a.id
	switch {
	case m.end(end) == Ground:
		m.fail(a, CauseEnd, string(Ground)+", where the suspension is loaded already", "the end on stands", "remove the step or raise and support the end first")
	case m.end(end) == Raised:
		m.fail(a, CauseUnsupported, "on the jack alone", "stands under the "+end+" end", "add "+paste(specdata.Support, "end:"+end)+" before it")
	}
	if m.loaded[end] {
		m.fail(a, CauseTwice, "loaded already", "a suspension that hangs", "remove the second load-suspension")
	}
	if h := m.model.rideHeight[end]; (h == nil || h.Value.IsZero()) && !m.out.rideHeightKnown[end] {
		m.fail(a, CauseVehicleState, "to be loaded to a ride height that nobody knows", "the ride height measured on the ground or given by the assembly", "add "+paste(specdata.Measure, "suspension:"+end)+" before the end is raised")
	}
	m.setLoaded(end, true)
	m.ledger.add(Entry{Debt: DebtLoaded, Thing: "suspension:" + end, name: end + " suspension", State: "held up by the jack", Act: a})
}

func (m *machine) unloadSuspension(a *Act) {
	end := a.id
	if !m.loaded[end] {
		m.fail(a, CauseNeverUndone, "not held up", "a suspension that is loaded", "remove the step")
	}
	m.setLoaded(end, false)
	m.ledger.close(DebtLoaded, "suspension:"+end)
}

func (m *machine) setAid(a *Act) {
	s := m.at(m.key(a), off)
	if s.is == inPlace {
		m.fail(a, CauseTwice, "in place already", "an aid that is away", "remove the second set-aid")
	}
	m.set(s, a, inPlace)
	m.ledger.add(Entry{Debt: DebtAid, Thing: m.key(a), name: m.name(a), State: "in place", Act: a})
}

func (m *machine) clearAid(a *Act) {
	s := m.at(m.key(a), off)
	switch {
	case s.is == off && !s.touched:
		m.fail(a, CauseNeverUndone, "not in place", "an aid in place", "remove the step, or set the aid where it is used")
	case s.is == off:
		m.fail(a, CauseTwice, "away already", "an aid in place", "remove the second clear-aid")
	}
	m.set(s, a, off)
	m.ledger.close(DebtAid, m.key(a))
}

func (m *machine) retract(a *Act) {
	m.needSide(a)
	if m.retracted[m.key(a)] {
		m.fail(a, CauseTwice, "pushed back already", "a piston that is out", "remove the second retract")
	}
	m.retracted[m.key(a)] = true
	m.ledger.add(Entry{Debt: DebtPedal, Thing: "place:brake-pedal", name: "brake pedal", State: "without pressure", Act: a})
}

func (m *machine) pump(a *Act) {
	clear(m.retracted)
	m.ledger.closeAll(DebtPedal)
}

func (m *machine) align(a *Act) {
	m.ledger.closeAll(DebtAlignment)
	for _, end := range []string{"front", "rear"} {
		if m.end(end) != Ground {
			m.fail(a, CauseEnd, "to be aligned with the "+end+" end "+string(m.end(end)), "the vehicle on its wheels", "add "+paste(specdata.Lower, "end:"+end)+" before it")
		}
	}
}

func (m *machine) relearn(a *Act) { m.ledger.closeAll(DebtRelearn) }

func (m *machine) advise(a *Act) {
	if typ := a.typ; typ != "fastener" {
		m.ledger.closeAll(DebtRecheck)
		return
	}
	m.ledger.close(DebtRecheck, m.key(a))
}

func (m *machine) measure(a *Act) {
	typ, id := a.typ, a.id
	if typ == "suspension" && m.end(id) == Ground {
		m.out.rideHeightKnown[id] = true
	}
	m.check(a)
}

// check answers the follow-ups that its target stands for.
func (m *machine) check(a *Act) {
	typ, id := a.typ, a.id
	switch typ {
	case "fastener":
		s, _ := m.fastenerState(a)
		if a.Do == specdata.Check && s.is != final {
			m.fail(a, CauseNotFinal, string(s.is), "a fastener at its final value", "add "+m.op(a, specdata.Tighten)+" before it")
		}
		m.ledger.close(DebtTurns, m.key(a))
		m.ledger.close(DebtEndFloat, m.key(a))
		m.ledger.close(DebtLeak, m.key(a))
	case "part":
		// What turns on the fastener is checked in its stead.
		if a.Do == specdata.Inspect {
			return
		}
		if sp := m.model.things[string(a.Target)]; sp != nil {
			for _, f := range sp.heldBy {
				for _, k := range m.fastenerKeys(f, a.Side) {
					m.ledger.close(DebtTurns, k)
					m.ledger.close(DebtEndFloat, k)
				}
			}
		}
	case "circuit":
		if !m.circuit(id).drained {
			m.ledger.close(DebtLeak, "circuit:"+id)
			m.closeLeaksOf(id)
			m.ledger.closeAll(DebtLevel)
		}
	case "place":
		m.checkPlace(id)
	}
}

func (m *machine) closeLeaksOf(circuit string) {
	for _, c := range m.model.lines[circuit] {
		for _, id := range c.heldBy {
			for _, side := range []specdata.Side{"", specdata.SideLeft, specdata.SideRight} {
				for _, k := range m.fastenerKeys(id, side) {
					m.ledger.close(DebtLeak, k)
				}
			}
		}
	}
}

// checkPlace answers follow-ups by the words of the place that is checked.
func (m *machine) checkPlace(id string) {
	for _, w := range strings.Split(id, "-") {
		switch w {
		case "leak", "leaks", "leakage":
			m.ledger.closeAll(DebtLeak)
		case "level", "levels":
			m.ledger.closeAll(DebtLevel)
		case "lamp", "lamps":
			m.ledger.closeAll(DebtLamp)
		}
	}
}

// roadTest reports a vehicle sent on the road with something open that the road
// does not forgive. Follow-ups that are only known on the road may come after it.
func (m *machine) roadTest(a *Act) {
	for _, e := range m.ledger.left() {
		if e.Debt.FollowUp() && e.Debt != DebtLeak && e.Debt != DebtTurns && e.Debt != DebtEndFloat {
			continue
		}
		m.failBy(a, e.target(), CauseRoad, "not fit for the road: "+e.Title()+" is "+e.State+" since "+e.Act.Where(), "everything closed before the vehicle moves", m.closing(e)+", before the road test")
	}
	m.setSecured(false) // whoever raises it again chocks it again
	for _, c := range m.circuits {
		c.relieved = false // the engine has run
	}
}

func (m *machine) note(a *Act) {
	if typ := a.typ; typ == "part" || typ == "joint" || typ == "connection" || typ == "clip" {
		m.needSide(a)
	}
}
