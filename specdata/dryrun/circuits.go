package dryrun

import (
	"strings"

	"proofload/specdata"
)

// circuit is the state of a fluid circuit.
type circuit struct {
	// relieved: without pressure. drained: empty. lost: opened or bled since it was filled.
	relieved, drained, lost bool
	// filled is the act that filled it, nil while it has what it came with.
	filled *Act
}

func (m *machine) circuit(id string) *circuit {
	c := m.circuits[id]
	if c == nil {
		c = &circuit{}
		m.circuits[id] = c
	}
	return c
}

// The needs of acts on circuits and electrics.
var (
	notDrained = need{"circuit not drained yet", func(m *machine, x *subject) {
		if m.circuit(x.id).drained {
			m.fail(x, CauseTwice, "drained already", "a full circuit", "remove the second drain")
		}
	}}
	withoutPressure = need{"circuit without pressure", func(m *machine, x *subject) { m.pressureGone(x, x.id) }}
	wantsFilling    = need{"circuit drained or opened", (*machine).wantsFilling}
	linesMade       = need{"every connection of the circuit made and tight", func(m *machine, x *subject) {
		m.made(m.model.lines[x.id], func(c *spec, since, mend string) {
			m.failBy(x, c.key, CauseCircuitOpen, "open at "+since, "every connection of the circuit made and tight", mend+" before it")
		})
	}}
	circuitFull = need{"circuit full", func(m *machine, x *subject) {
		if m.circuit(x.id).drained {
			m.fail(x, CauseCircuitOpen, "drained", "a full circuit", "add "+paste(specdata.Fill, x.Target)+" before it")
		}
	}}
	live = need{"electrics live", func(m *machine, x *subject) {
		if m.dead[x.id] {
			m.fail(x, CauseTwice, "isolated already", "live electrics", "remove the second isolate")
		}
	}}
	isolated = need{"electrics isolated", func(m *machine, x *subject) {
		if !m.dead[x.id] {
			m.fail(x, CauseNeverUndone, "live", "electrics that were isolated", removeStep)
		}
	}}
	wiresMade = need{"every connection that needs it dead made and tight", func(m *machine, x *subject) {
		m.made(m.model.wires[x.id], func(c *spec, since, mend string) {
			m.failBy(x, c.key, CauseLive, "to come back with "+since, "every connection that needs it dead made and tight", mend+" before it")
		})
	}}
)

// pressureGone reports a circuit opened under pressure.
func (m *machine) pressureGone(x *subject, id string) {
	c := m.model.circuits[id]
	if c == nil || !c.Pressurised {
		return
	}
	if s := m.circuit(id); s.relieved || s.drained {
		return
	}
	t := specdata.Target("circuit:" + id)
	m.failBy(x, t, CausePressure, "under pressure", "the "+specdata.InSentence(c.Title)+" without pressure", "add "+paste(specdata.Depressurise, t)+" before it")
}

// safeToOpen reports a circuit opened under pressure and a plug pulled live.
func (m *machine) safeToOpen(x *subject, c *specdata.Connection) {
	m.pressureGone(x, c.Circuit)
	if c.Electrics != "" && !m.dead[c.Electrics] {
		t := specdata.Target("electrics:" + c.Electrics)
		m.failBy(x, t, CauseLive, "live", "the "+electrics(c.Electrics)+" isolated", "add "+paste(specdata.Isolate, t)+" before it")
		return
	}
	m.provedDead(x, c.Electrics)
	if circuit := m.model.circuits[c.Circuit]; circuit != nil {
		m.cold(x, circuit)
	}
}

func (m *machine) wantsFilling(x *subject) {
	topUp := paste(specdata.Check, "place:level") + " for topping up"
	switch s := m.circuit(x.id); {
	case s.drained, s.lost:
	case s.filled != nil:
		m.fail(x, CauseTwice, "full since "+s.filled.Where(), "a circuit that is drained, opened or bled", "remove the second fill, or write "+topUp)
	default:
		m.fail(x, CauseNeverUndone, "full, and nothing drained or opened it", "a circuit that is drained or opened", "add "+paste(specdata.Drain, x.Target)+", or write "+topUp)
	}
}

// opened notes that a connection of a circuit is undone: what it owes afterwards.
func (m *machine) opened(x *subject) {
	if x.sp == nil {
		return
	}
	c := m.model.circuits[x.sp.connection.Circuit]
	if c == nil {
		return
	}
	s := m.circuit(c.ID)
	s.lost = true
	if c.Fluid == "brake-fluid" {
		m.out.Brakes = append(m.out.Brakes, x.Act)
	}
	m.owesOf(c, x.Act, c.Bleed && !s.drained)
}

func (m *machine) fill(x *subject) {
	s := m.circuit(x.id)
	s.drained, s.lost, s.filled = false, false, x.Act
	if c := m.model.circuits[x.id]; c != nil {
		m.owesOf(c, x.Act, c.Bleed)
	}
}

// owesOf opens what a circuit owes that was opened or filled.
func (m *machine) owesOf(c *specdata.Circuit, a *Act, bleed bool) {
	e := Entry{Thing: Thing{Target: specdata.Target("circuit:" + c.ID)}, name: c.Title, Act: a}
	if bleed {
		e.Debt, e.State = DebtBleed, "with air in it"
		m.ledger.add(e)
	}
	e.Debt, e.State = DebtLeak, "not checked for leaks"
	m.ledger.add(e)
}

// made calls not for every connection that is undone, or made with a fastener of
// it not yet final, once a connection.
func (m *machine) made(connections []*spec, not func(c *spec, since, mend string)) {
	for _, c := range connections {
		m.madeOn(c, not)
	}
}

func (m *machine) madeOn(c *spec, not func(c *spec, since, mend string)) {
	for _, side := range eitherSide {
		if st := m.states[m.keyOf(c, side)]; st != nil && st.is == Undone {
			not(c, specdata.InSentence(c.title)+" undone since "+st.last.Where(), "add "+paste(specdata.Connect, c.key))
			return
		}
		for _, id := range c.heldBy {
			for _, key := range m.fastenerKeys(id, side) {
				if fs := m.states[key]; fs != nil && fs.is != AtFinal {
					not(c, specdata.InSentence(c.title)+": "+m.fastenerTitle(id)+" is "+fs.is.String()+" since "+fs.last.Where(), "add "+paste(specdata.Tighten, specdata.Target("fastener:"+id)))
					return
				}
			}
		}
	}
}

// electrics returns a system in words.
func electrics(id string) string { return strings.ReplaceAll(id, "-", " ") }

// setDead notes that electrics are isolated or live.
func (m *machine) setDead(id string, dead bool) {
	m.dead[id], m.surroundings = dead, nil
	m.isolated = nil // those of earlier acts keep theirs
	for _, e := range []string{"airbag", "battery", "high-voltage"} {
		if m.dead[e] {
			m.isolated = append(m.isolated, e)
		}
	}
}
