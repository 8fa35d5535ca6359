package dryrun

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// thing gives the state and the spec of a part, joint, connection or clip. The
// spec is nil where no assembly names it; the rule on references speaks then.
func (m *machine) thing(a *Act) (*state, *spec) {
	m.needSide(a)
	return m.at(m.key(a), inPlace), m.model.things[string(a.Target)]
}

// stillHeld reports everything that keeps a thing where it is.
func (m *machine) stillHeld(a *Act, sp *spec) {
	for _, id := range sp.heldBy {
		for _, key := range m.fastenerKeys(id, a.Side) {
			s := m.states[key]
			// A joint is parted with its nut on a few threads, to catch it.
			if s != nil && (s.is == removed || sp.typ == "joint" && (s.is == started || s.is == slack)) {
				continue
			}
			is := final
			if s != nil {
				is = s.is
			}
			m.held(a, "fastener:"+id, m.fastenerTitle(id), string(is)+", not out", "add "+m.other(a, specdata.Remove, "fastener:"+id)+" before it")
			break // one of the family is enough to hold it
		}
	}
	for _, id := range sp.behind {
		if other := m.model.byID(id); other != nil && !m.away(other, a.Side) {
			m.held(a, other.target(), specdata.InSentence(other.title), "in front of it, "+string(m.statusOf(other, a.Side)), "add "+m.other(a, undoing(other), other.target())+" before it")
		}
	}
	if sp.typ != "part" {
		return
	}
	for _, j := range m.model.joints[sp.id] {
		if !m.away(j, a.Side) && !m.otherPartOff(j, sp, a.Side) && !m.comesAlong(j, sp) {
			m.held(a, j.target(), specdata.InSentence(j.title), "still together", "add "+m.other(a, specdata.Separate, j.target())+" before it")
		}
	}
	for _, c := range m.model.carry[sp.id] {
		if !m.away(c, a.Side) {
			m.held(a, c.target(), specdata.InSentence(c.title), "still "+madeOrClosed(c), "add "+m.other(a, undoing(c), c.target())+" before it")
		}
	}
}

// otherPartOff reports whether a joint came away with its other part.
func (m *machine) otherPartOff(j, sp *spec, side specdata.Side) bool {
	for _, id := range j.joint.Between {
		if id == sp.id {
			continue
		}
		if p := m.model.things["part:"+id]; p != nil && m.away(p, side) {
			return true
		}
	}
	return false
}

// comesAlong reports whether the other part of a pressed joint is held by nothing
// else: it then comes away with this part, and is pressed out on the bench.
func (m *machine) comesAlong(j, sp *spec) bool {
	if j.joint.Kind != "press" {
		return false
	}
	for _, id := range j.joint.Between {
		p := m.model.things["part:"+id]
		if id != sp.id && (p == nil || len(p.heldBy) > 0 || len(m.model.joints[id]) > 1 || len(m.model.carry[id]) > 0) {
			return false
		}
	}
	return true
}

// undoing is the verb that takes a thing out of the way.
func undoing(s *spec) specdata.Verb {
	switch s.typ {
	case "joint":
		return specdata.Separate
	case "connection":
		return specdata.Disconnect
	case "clip":
		return specdata.Unclip
	}
	return specdata.Remove
}

func madeOrClosed(s *spec) string {
	if s.typ == "clip" {
		return "closed"
	}
	return "made"
}

func (m *machine) held(a *Act, by, title, how, mend string) {
	m.failBy(a, specdata.Target(by), CauseHeld, "held: "+title+" is "+how, "", mend)
}

// other writes an operation on another thing on the act's side.
func (m *machine) other(a *Act, verb specdata.Verb, target string) string {
	if m.procedure.Sides == "both" && (a.Side == specdata.SideLeft || a.Side == specdata.SideRight) {
		typ, id := specdata.Target(target).Split()
		handed := typ == "fastener" && m.model.handedFastener(id)
		if sp := m.model.things[target]; sp != nil {
			handed = sp.assembly.Handed
		}
		if handed {
			return paste(verb, target, "side: "+string(a.Side))
		}
	}
	return paste(verb, target)
}

func (m *machine) fastenerTitle(id string) string {
	if f := m.fastener(id); f != nil {
		return specdata.InSentence(f.Title)
	}
	return id
}

func (m *machine) statusOf(s *spec, side specdata.Side) status {
	if st := m.states[m.keyOf(s, side)]; st != nil {
		return st.is
	}
	return inPlace
}

// away reports whether a thing is off, apart, undone or open.
func (m *machine) away(s *spec, side specdata.Side) bool { return m.statusOf(s, side) != inPlace }

func (m *machine) removePart(a *Act) {
	s, sp := m.thing(a)
	if s.is == off {
		m.fail(a, CauseTwice, "off already", "a part that is on", "remove the second remove")
	} else if sp != nil {
		m.stillHeld(a, sp)
		m.needRaised(a, sp)
	}
	m.set(s, a, off)
	m.ledger.add(Entry{Debt: DebtPart, Thing: m.key(a), name: m.name(a), State: "off", Act: a})
	if sp != nil && sp.part.HangsOn != "" {
		m.hanging = &hangingPart{sp, m.key(a), a}
	}
}

// needRaised reports a road wheel taken off with the end on the ground.
func (m *machine) needRaised(a *Act, sp *spec) {
	if sp.part.Wheel && m.end(sp.assembly.End) == Ground {
		m.failBy(a, specdata.Target("end:"+sp.assembly.End), CauseEnd, "carrying the vehicle", "the "+sp.assembly.End+" end raised and supported", "add "+paste(specdata.Raise, "end:"+sp.assembly.End)+" and "+paste(specdata.Support, "end:"+sp.assembly.End)+" before it")
		return
	}
	m.needEnd(a)
}

// needEnd reports taking off or putting on at an end that the procedure raises for
// it, while that end stands on the ground. A procedure that never raises the end
// works over a pit or from above, and only its reader knows. Loosening first and
// tightening last are often meant to be done on the ground and are left alone.
func (m *machine) needEnd(a *Act) {
	end := m.endOf(a)
	if end == "" || !m.raises[end] || m.end(end) != Ground {
		return
	}
	m.failBy(a, specdata.Target("end:"+end), CauseEnd, "at the "+end+" end, which is on the ground", "the "+end+" end raised, as this procedure does for it", "move the step to where the end is raised")
}

func (m *machine) fit(a *Act) {
	typ := a.typ
	if typ == "joint" {
		m.join(a)
		return
	}
	s, sp := m.thing(a)
	switch {
	case s.is == inPlace && !s.touched:
		m.fail(a, CauseNeverUndone, "on, and nothing took it off", "a part that is off", "take it off first or remove the step")
	case s.is == inPlace:
		m.fail(a, CauseTwice, "on already", "a part that is off", "remove the second fit")
	case s.hung:
		m.fail(a, CauseHungUp, "still hung up", "the hook away", "add "+m.op(a, specdata.Unhang)+" before it")
	case s.scrap && !a.New, sp != nil && sp.part.Renew && !a.New:
		m.fail(a, CauseOldPiece, "the old part", "a new one", "write new: true and list the part")
	}
	if sp != nil {
		m.inTheWay(a, sp)
		m.needEnd(a)
	}
	m.set(s, a, inPlace)
	s.scrap = false
	m.ledger.close(DebtPart, m.key(a))
	if sp != nil {
		// A joint that came away with this part is together again when both its parts are on.
		for _, j := range m.model.joints[sp.id] {
			m.reseat(a, j)
		}
	}
}

func (m *machine) reseat(a *Act, j *spec) {
	if j.joint.Kind != "slide" && j.joint.Kind != "spline" {
		return
	}
	js := m.states[m.keyOf(j, a.Side)]
	if js == nil || js.is != apart {
		return
	}
	for _, id := range j.joint.Between {
		if p := m.model.things["part:"+id]; p != nil && m.away(p, a.Side) {
			return
		}
	}
	js.is, js.last, js.touched = inPlace, a, true
	m.ledger.close(DebtJoint, m.keyOf(j, a.Side))
}

// inTheWay reports what was put back too early: things that stand in front.
func (m *machine) inTheWay(a *Act, sp *spec) {
	for _, id := range sp.behind {
		other := m.model.byID(id)
		if other == nil || m.away(other, a.Side) {
			continue
		}
		if st := m.states[m.keyOf(other, a.Side)]; st != nil && st.touched {
			m.failBy(a, specdata.Target(other.target()), CauseBlocked, "behind "+specdata.InSentence(other.title)+", which is "+string(st.is)+" since "+st.last.Where(), specdata.InSentence(other.title)+" still away", "move this step before "+putBack(other))
		}
	}
}

func (m *machine) separate(a *Act) {
	s, sp := m.thing(a)
	if s.is == apart {
		m.fail(a, CauseTwice, "apart already", "a joint that is together", "remove the second separate")
	} else if sp != nil {
		m.stillHeld(a, sp)
		m.needEnd(a)
		m.needAid(a, sp)
	}
	m.set(s, a, apart)
	m.ledger.add(Entry{Debt: DebtJoint, Thing: m.key(a), name: m.name(a), State: "apart", Act: a})
}

// needAid reports a joint parted without the puller or wedge that its assembly names.
func (m *machine) needAid(a *Act, sp *spec) {
	id := sp.joint.Aid
	if !specdata.ValidID(id) || a.Tool == id || a.With == id {
		return
	}
	for _, side := range []specdata.Side{"", a.Side} {
		if s := m.states[sided("aid:"+id, side, true)]; s != nil && s.is == inPlace {
			return
		}
	}
	m.failBy(a, specdata.Target("aid:"+id), CauseAid, "to be parted without its "+strings.ReplaceAll(id, "-", " "), "the "+strings.ReplaceAll(id, "-", " ")+" in place", "add "+paste(specdata.SetAid, "aid:"+id)+" before it, or name it as the tool")
}

func (m *machine) join(a *Act) {
	s, sp := m.thing(a)
	switch {
	case s.is == inPlace && !s.touched:
		m.fail(a, CauseNeverUndone, "together, and nothing parted it", "a joint that is apart", "remove the step")
	case s.is == inPlace:
		m.fail(a, CauseTwice, "together already", "a joint that is apart", "remove the second join")
	}
	if sp != nil {
		m.needParts(a, sp.joint.Between)
		m.inTheWay(a, sp)
		m.needEnd(a)
	}
	m.set(s, a, inPlace)
	m.ledger.close(DebtJoint, m.key(a))
}

func (m *machine) disconnect(a *Act) {
	s, sp := m.thing(a)
	if s.is == undone {
		m.fail(a, CauseTwice, "undone already", "a connection that is made", "remove the second disconnect")
	} else if sp != nil {
		m.stillHeld(a, sp)
		m.safeToOpen(a, sp.connection)
		m.needEnd(a)
	}
	m.set(s, a, undone)
	m.ledger.add(Entry{Debt: DebtConnection, Thing: m.key(a), name: m.name(a), State: "undone", Act: a})
	if sp == nil || sp.connection.Circuit == "" {
		return
	}
	c := m.model.circuits[sp.connection.Circuit]
	if c == nil {
		return
	}
	state := m.circuit(c.ID)
	state.lost = true
	if c.Fluid == "brake-fluid" {
		m.out.Brakes = append(m.out.Brakes, a)
	}
	if c.Bleed && !state.drained {
		m.owesBleed(a, c.ID, c.Title)
	}
	m.owesLeakCheck(a, c)
}

// safeToOpen reports a circuit opened under pressure and a plug pulled live.
func (m *machine) safeToOpen(a *Act, c *specdata.Connection) {
	m.withoutPressure(a, c.Circuit)
	if c.Electrics != "" && !m.dead[c.Electrics] {
		m.failBy(a, specdata.Target("electrics:"+c.Electrics), CauseLive, "live", "the "+electrics(c.Electrics)+" isolated", "add "+paste(specdata.Isolate, "electrics:"+c.Electrics)+" before it")
	}
}

// opens reports a fastener loosened that holds a connection under pressure or live:
// the union is open, the spanner on the terminal, before the connection is undone.
func (m *machine) opens(a *Act) {
	id := a.id
	for _, held := range m.model.holds[id] {
		if held.typ == "connection" && !m.away(held, a.Side) {
			m.safeToOpen(a, held.connection)
		}
	}
}

func (m *machine) connect(a *Act) {
	s, sp := m.thing(a)
	switch {
	case s.is == inPlace && !s.touched:
		m.fail(a, CauseNeverUndone, "made, and nothing undid it", "a connection that is undone", "remove the step")
	case s.is == inPlace:
		m.fail(a, CauseTwice, "made already", "a connection that is undone", "remove the second connect")
	case s.capped:
		m.fail(a, CauseAid, "still capped", "the caps away", "add "+m.op(a, specdata.Uncap)+" before it")
	}
	if sp != nil {
		m.needParts(a, sp.connection.Holds)
		m.inTheWay(a, sp)
		m.needEnd(a)
	}
	m.set(s, a, inPlace)
	m.ledger.close(DebtConnection, m.key(a))
}

// needParts reports a part that must be on and is off.
func (m *machine) needParts(a *Act, ids []string) {
	for _, id := range ids {
		if p := m.model.things["part:"+id]; p != nil && m.away(p, a.Side) {
			m.failBy(a, specdata.Target(p.target()), CauseNotInPlace, "without "+specdata.InSentence(p.title)+", which is off", specdata.InSentence(p.title)+" in place", "add "+m.other(a, specdata.Fit, p.target())+" before it")
		}
	}
}

func (m *machine) unclip(a *Act) {
	s, sp := m.thing(a)
	if sp != nil {
		m.clipReach(a, sp)
	}
	if s.is == open {
		m.fail(a, CauseTwice, "open already", "a clip that is closed", "remove the second unclip")
	}
	m.set(s, a, open)
	m.ledger.add(Entry{Debt: DebtClip, Thing: m.key(a), name: m.name(a), State: "open", Act: a})
}

// clipReach reports a clip opened behind something that is still on.
func (m *machine) clipReach(a *Act, sp *spec) {
	for _, id := range sp.behind {
		if other := m.model.byID(id); other != nil && !m.away(other, a.Side) {
			m.held(a, other.target(), specdata.InSentence(other.title), "in front of it, "+string(m.statusOf(other, a.Side)), "add "+m.other(a, undoing(other), other.target())+" before it")
		}
	}
}

func (m *machine) clip(a *Act) {
	s, sp := m.thing(a)
	if sp != nil {
		m.inTheWay(a, sp)
	}
	switch {
	case s.is == inPlace && !s.touched:
		m.fail(a, CauseNeverUndone, "closed, and nothing opened it", "a clip that is open", "remove the step")
	case s.is == inPlace:
		m.fail(a, CauseTwice, "closed already", "a clip that is open", "remove the second clip")
	}
	m.set(s, a, inPlace)
	m.ledger.close(DebtClip, m.key(a))
}

func (m *machine) hang(a *Act) {
	s, _ := m.thing(a)
	switch {
	case s.hung:
		m.fail(a, CauseTwice, "hung up already", "a part in the hand", "remove the second hang")
	case s.is != off:
		m.fail(a, CauseNotInPlace, string(s.is), "a part that is off", "add "+m.op(a, specdata.Remove)+" before it")
	}
	s.hung, s.touched, s.last = true, true, a
	m.ledger.add(Entry{Debt: DebtHung, Thing: m.key(a), name: m.name(a), State: "on its hook", Act: a})
}

func (m *machine) unhang(a *Act) {
	s, _ := m.thing(a)
	if !s.hung {
		m.fail(a, CauseNeverUndone, "not hung up", "a part on its hook", "remove the step")
	}
	s.hung = false
	m.ledger.close(DebtHung, m.key(a))
}

func (m *machine) cap(a *Act) {
	s, _ := m.thing(a)
	switch {
	case s.capped:
		m.fail(a, CauseTwice, "capped already", "open ends", "remove the second cap")
	case s.is != undone:
		m.fail(a, CauseNotInPlace, string(s.is), "a connection that is undone", "add "+m.op(a, specdata.Disconnect)+" before it")
	}
	s.capped, s.last = true, a
	m.ledger.add(Entry{Debt: DebtCaps, Thing: m.key(a), name: m.name(a), State: "capped", Act: a})
}

func (m *machine) uncap(a *Act) {
	s, _ := m.thing(a)
	if !s.capped {
		m.fail(a, CauseNeverUndone, "not capped", "caps on the open ends", "remove the step")
	}
	s.capped = false
	m.ledger.close(DebtCaps, m.key(a))
}

// pressOut parts a pressed joint on the bench: one of its parts is off, so that it
// can be supported.
func (m *machine) pressOut(a *Act) {
	_, sp := m.thing(a)
	if sp != nil {
		m.needPressed(a, sp)
		if m.statusOf(sp, a.Side) == inPlace && !slices.ContainsFunc(sp.joint.Between, func(id string) bool {
			p := m.model.things["part:"+id]
			return p != nil && m.away(p, a.Side)
		}) {
			m.fail(a, CauseHeld, "on the vehicle with both its parts", "one of its parts off and supported", "take one of its parts off before it")
		}
	}
	m.separate(a)
}

func (m *machine) pressIn(a *Act) {
	s, sp := m.thing(a)
	if sp != nil {
		m.needPressed(a, sp)
	}
	switch {
	case s.is == inPlace && !s.touched:
		m.fail(a, CauseNeverUndone, "together, and nothing parted it", "a joint that is apart", "remove the step")
	case s.is == inPlace:
		m.fail(a, CauseTwice, "together already", "a joint that is apart", "remove the second press-in")
	}
	m.set(s, a, inPlace)
	m.ledger.close(DebtJoint, m.key(a))
}

func (m *machine) needPressed(a *Act, sp *spec) {
	if sp.joint != nil && sp.joint.Kind != "press" {
		m.fail(a, CauseVerb, "a "+sp.joint.Kind+" joint", "a joint of kind press", "write separate and join for this joint")
	}
}
