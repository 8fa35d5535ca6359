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

// withoutPressure reports a circuit opened under pressure.
func (m *machine) withoutPressure(a *Act, id string) {
	c := m.model.circuits[id]
	if c == nil || !c.Pressurised {
		return
	}
	if s := m.circuit(id); s.relieved || s.drained {
		return
	}
	m.failBy(a, specdata.Target("circuit:"+id), CausePressure, "under pressure", "the "+specdata.InSentence(c.Title)+" without pressure", "add "+paste(specdata.Depressurise, "circuit:"+id)+" before it")
}

func (m *machine) depressurise(a *Act) {
	id := a.id
	m.circuit(id).relieved = true
}

func (m *machine) drain(a *Act) {
	id := a.id
	c := m.circuit(id)
	if c.drained {
		m.fail(a, CauseTwice, "drained already", "a full circuit", "remove the second drain")
	} else {
		m.withoutPressure(a, id)
	}
	c.drained = true
	m.ledger.add(Entry{Debt: DebtFill, Thing: "circuit:" + id, name: m.name(a), State: "drained", Act: a})
}

func (m *machine) fill(a *Act) {
	id := a.id
	s := m.circuit(id)
	switch {
	case !s.drained && !s.lost && s.filled != nil:
		m.fail(a, CauseTwice, "full since "+s.filled.Where(), "a circuit that is drained, opened or bled", "remove the second fill, or write "+paste(specdata.Check, "place:level")+" for topping up")
	case !s.drained && !s.lost:
		m.fail(a, CauseNeverUndone, "full, and nothing drained or opened it", "a circuit that is drained or opened", "add "+paste(specdata.Drain, "circuit:"+id)+", or write "+paste(specdata.Check, "place:level")+" for topping up")
	}
	m.openLines(a, id)
	s.drained, s.lost, s.filled = false, false, a
	m.ledger.close(DebtFill, "circuit:"+id)
	c := m.model.circuits[id]
	if c == nil {
		return
	}
	if c.Bleed {
		m.owesBleed(a, id, m.name(a))
	}
	m.owesLeakCheck(a, c)
}

func (m *machine) bleed(a *Act) {
	id := a.id
	m.openLines(a, id)
	s := m.circuit(id)
	if s.drained {
		m.fail(a, CauseCircuitOpen, "drained", "a full circuit", "add "+paste(specdata.Fill, "circuit:"+id)+" before it")
	}
	s.lost = true // the level has gone down
	m.ledger.close(DebtBleed, "circuit:"+id)
}

func (m *machine) owesBleed(a *Act, id, title string) {
	m.ledger.add(Entry{Debt: DebtBleed, Thing: "circuit:" + id, name: title, State: "with air in it", Act: a})
}

func (m *machine) owesLeakCheck(a *Act, c *specdata.Circuit) {
	m.ledger.add(Entry{Debt: DebtLeak, Thing: "circuit:" + c.ID, name: c.Title, State: "not checked for leaks", Act: a})
}

// openLines reports a circuit filled or bled while one of its connections is undone or loose.
func (m *machine) openLines(a *Act, id string) {
	m.made(m.model.lines[id], func(c *spec, since, mend string) {
		m.failBy(a, specdata.Target(c.target()), CauseCircuitOpen, "open at "+since, "every connection of the circuit made and tight", mend+" before it")
	})
}

// made calls not for every connection that is undone, or made with a fastener of
// it not yet final, once a connection.
func (m *machine) made(connections []*spec, not func(c *spec, since, mend string)) {
	for _, c := range connections {
		m.madeOn(c, not)
	}
}

func (m *machine) madeOn(c *spec, not func(c *spec, since, mend string)) {
	for _, side := range []specdata.Side{"", specdata.SideLeft, specdata.SideRight} {
		if st := m.states[m.keyOf(c, side)]; st != nil && st.is == undone {
			not(c, specdata.InSentence(c.title)+" undone since "+st.last.Where(), "add "+paste(specdata.Connect, c.target()))
			return
		}
		for _, id := range c.heldBy {
			for _, key := range m.fastenerKeys(id, side) {
				if fs := m.states[key]; fs != nil && fs.is != final {
					not(c, specdata.InSentence(c.title)+": "+m.fastenerTitle(id)+" is "+string(fs.is)+" since "+fs.last.Where(), "add "+paste(specdata.Tighten, "fastener:"+id))
					return
				}
			}
		}
	}
}

// electrics names a system in words.
func electrics(id string) string { return strings.ReplaceAll(id, "-", " ") }

func (m *machine) isolate(a *Act) {
	id := a.id
	if m.dead[id] {
		m.fail(a, CauseTwice, "isolated already", "live electrics", "remove the second isolate")
	}
	m.setDead(id, true)
	m.ledger.add(Entry{Debt: DebtElectrics, Thing: "electrics:" + id, name: electrics(id), State: "isolated", Act: a})
}

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

func (m *machine) restore(a *Act) {
	id := a.id
	if !m.dead[id] {
		m.fail(a, CauseNeverUndone, "live", "electrics that were isolated", "remove the step")
	}
	m.made(m.model.wires[id], func(c *spec, since, mend string) {
		m.failBy(a, specdata.Target(c.target()), CauseLive, "to come back with "+since, "every connection that needs it dead made and tight", mend+" before it")
	})
	m.setDead(id, false)
	m.ledger.close(DebtElectrics, "electrics:"+id)
}
