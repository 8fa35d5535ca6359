package dryrun

import (
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// The needs of the table, in words and as checks. Each reports what is missing.
var (
	vehicleSecured = need{"vehicle secured", func(m *machine, x *subject) {
		if !m.secured {
			m.fail(x, CauseNotSecured, "free to roll", "the vehicle secured", "add "+paste(specdata.Secure, "vehicle:whole")+" before it, with chocks at the other end")
		}
	}}
	endRaised = need{"end raised and not yet supported", func(m *machine, x *subject) {
		switch m.end(x.id) {
		case Ground:
			m.fail(x, CauseEnd, Ground.String(), "the end raised", "add "+paste(specdata.Raise, endTarget(x.id))+" before it")
		case Supported:
			m.fail(x, CauseTwice, Supported.String(), "an end on the jack", "remove the second support")
		}
	}}
	endUp = need{"end raised", func(m *machine, x *subject) {
		if m.end(x.id) == Ground {
			m.fail(x, CauseTwice, Ground.String(), "the end raised", "remove the lower, or add "+paste(specdata.Raise, endTarget(x.id))+" before it")
		}
	}}
	suspensionFree = need{"no loading jack in place", func(m *machine, x *subject) {
		if m.loaded[x.id] {
			m.fail(x, CauseAid, "held up by the jack under the suspension", "the suspension jack away", "add "+paste(specdata.UnloadSuspension, specdata.Target("suspension:"+x.id))+" before it")
		}
	}}
	wheelsRunDown = need{"road wheels of the end on and their fasteners run down", (*machine).wheelsOn}
	endSupported  = need{"end supported", func(m *machine, x *subject) {
		switch m.end(x.id) {
		case Ground:
			m.fail(x, CauseEnd, Ground.String()+", where the suspension is loaded already", "the end on stands", "remove the step or raise and support the end first")
		case Raised:
			m.fail(x, CauseUnsupported, "on the jack alone", "stands under the "+x.id+" end", "add "+paste(specdata.Support, endTarget(x.id))+" before it")
		}
	}}
	suspensionHangs = need{"suspension not loaded yet", func(m *machine, x *subject) {
		if m.loaded[x.id] {
			m.fail(x, CauseTwice, "loaded already", "a suspension that hangs", "remove the second load-suspension")
		}
	}}
	suspensionLoaded = need{"suspension loaded", func(m *machine, x *subject) {
		if !m.loaded[x.id] {
			m.fail(x, CauseNeverUndone, "not held up", "a suspension that is loaded", removeStep)
		}
	}}
	rideHeightKnown = need{"ride height measured on the ground or given by the assembly", func(m *machine, x *subject) {
		if h := m.model.rideHeight[x.id]; (h == nil || h.Value.IsZero()) && !m.out.rideHeightKnown[x.id] {
			m.fail(x, CauseVehicleState, "to be loaded to a ride height that nobody knows", "the ride height measured on the ground or given by the assembly", "add "+paste(specdata.Measure, specdata.Target("suspension:"+x.id))+" before the end is raised")
		}
	}}
	wheelsOnGround = need{"vehicle on the ground", func(m *machine, x *subject) {
		for _, end := range ends {
			if !m.end(end).WheelsCarry() {
				m.fail(x, CauseEnd, "to be aligned with the "+end+" end "+m.end(end).String(), "the vehicle on its wheels", "add "+paste(specdata.Lower, endTarget(end))+" before it")
			}
		}
	}}
	unlocked = need{"lock undone", func(m *machine, x *subject) {
		if x.s.locked {
			m.fail(x, CauseLocked, "still locked", "the lock undone", "add "+m.op(x, specdata.Unlock)+" before it")
			x.s.locked = false
			m.owesLock(x)
		}
	}}
	safeLines = need{"what it opens without pressure and not live", (*machine).safeLines}
	safeLine  = need{"circuit without pressure, electrics safe", func(m *machine, x *subject) {
		if x.sp != nil {
			m.safeToOpen(x, x.sp.connection)
		}
	}}
	heldInPlace     = need{"what it holds in place", (*machine).heldInPlace}
	nothingHolds    = need{"nothing holds it or stands in front of it any more", (*machine).stillHeld}
	onNewSeals      = need{"a new seal where it is sealed", (*machine).needSeals}
	nothingInTheWay = need{"nothing in its way", (*machine).inTheWay}
	endUpForIt      = need{"end raised where the procedure raises it for this", (*machine).needEnd}
	endUpForPart    = need{"a road wheel with its end raised", (*machine).needRaised}
	aidSet          = need{"its puller or wedge in place", (*machine).needAid}
	aidsSet         = need{"the pins, compressor, caging bolt or jack of its assembly in place", (*machine).needAids}
	partsOn         = need{"its parts on", (*machine).needParts}
	pressed         = need{"a pressed joint", func(m *machine, x *subject) {
		if x.sp != nil && x.sp.joint.Kind != "press" {
			m.fail(x, CauseVerb, "a "+x.sp.joint.Kind+" joint", "a joint of kind press", "write separate and join for this joint")
		}
	}}
	onBench = need{"one of its parts off and supported on the right ring", func(m *machine, x *subject) {
		if x.sp != nil && !slices.ContainsFunc(x.sp.joint.Between, func(id string) bool { return m.partAway(id, x.Side) }) {
			m.fail(x, CauseHeld, "on the vehicle with both its parts", "one of its parts off and supported", "take one of its parts off before it")
		}
	}}
	finalToCheck = need{"a fastener at its final value", func(m *machine, x *subject) {
		if x.typ == "fastener" && x.s.is != AtFinal {
			m.fail(x, CauseNotFinal, x.s.is.String(), "a fastener at its final value", "add "+m.op(x, specdata.Tighten)+" before it")
		}
	}}
	pistonOut = need{"piston not pushed back yet", func(m *machine, x *subject) {
		if m.retracted[x.key] {
			m.fail(x, CauseTwice, "pushed back already", "a piston that is out", "remove the second retract")
		}
	}}
	fitForTheRoad = need{"vehicle on the ground, everything that matters on the road closed", (*machine).fitForTheRoad}
	stageBefore   = need{"fastener started; the stage before done on all of the family", nothing} // judged by stage itself
	inItsState    = need{"vehicle in the record's state", nothing}                                // judged by finalise
)

// ends are the ends of a vehicle.
var ends = [...]string{"front", "rear"}

func nothing(*machine, *subject) {}

func endTarget(end string) specdata.Target { return specdata.Target("end:" + end) }

// endIs returns the need for an end in a state; another is the act done twice.
func endIs(want EndState, words, needed, mend string) need {
	return need{words, func(m *machine, x *subject) {
		if is := m.end(x.id); is != want {
			m.fail(x, CauseTwice, is.String(), needed, mend)
		}
	}}
}

// needSide reports an act on a handed thing of a both-sides job that says no side.
func (m *machine) needSide(x *subject) {
	if m.procedure.Sides != "both" || x.Side == specdata.SideLeft || x.Side == specdata.SideRight {
		return
	}
	if x.typ == "fastener" && m.model.handedFastener(x.id) || x.sp != nil && x.sp.assembly.Handed {
		m.fail(x, CauseSide, "on both sides and the step names none", "side: left or side: right", "add the side, or use repeat for the other one")
	}
}

// stillHeld reports everything that keeps a thing where it is.
func (m *machine) stillHeld(x *subject) {
	sp := x.sp
	if sp == nil {
		return // unresolved-reference reports it
	}
	for _, id := range sp.heldBy {
		for _, key := range m.fastenerKeys(id, x.Side) {
			s := m.states[key]
			// A joint is parted with its nut on a few threads, to catch it.
			if s != nil && (s.is == Out || sp.typ == "joint" && (s.is == Started || s.is == Slack)) {
				continue
			}
			is := AtFinal
			if s != nil {
				is = s.is
			}
			by := specdata.Target("fastener:" + id)
			m.held(x, by, m.fastenerTitle(id), is.String()+", not out", "add "+m.other(x, specdata.Remove, by)+" before it")
			break // one of the family is enough to hold it
		}
	}
	for _, id := range sp.behind {
		if other := m.model.byID(id); other != nil && !m.away(other, x.Side) {
			m.held(x, other.key, specdata.InSentence(other.title), "in front of it, "+m.stateOf(other, x.Side).String(), "add "+m.other(x, undoing[other.typ], other.key)+" before it")
		}
	}
	if sp.typ != "part" {
		return
	}
	for _, j := range m.model.joints[sp.id] {
		if !m.away(j, x.Side) && !m.otherPartOff(j, sp, x.Side) && !m.comesAlong(j, sp) {
			m.held(x, j.key, specdata.InSentence(j.title), "still together", "add "+m.other(x, specdata.Separate, j.key)+" before it")
		}
	}
	for _, c := range m.model.carry[sp.id] {
		if !m.away(c, x.Side) {
			how := "still made"
			if c.typ == "clip" {
				how = "still closed"
			}
			m.held(x, c.key, specdata.InSentence(c.title), how, "add "+m.other(x, undoing[c.typ], c.key)+" before it")
		}
	}
}

// partAway reports whether a part by id is off.
func (m *machine) partAway(id string, side specdata.Side) bool {
	p := m.model.things[specdata.Target("part:"+id)]
	return p != nil && m.away(p, side)
}

// otherPartOff reports whether a joint came away with its other part.
func (m *machine) otherPartOff(j, sp *spec, side specdata.Side) bool {
	return slices.ContainsFunc(j.joint.Between, func(id string) bool { return id != sp.id && m.partAway(id, side) })
}

// comesAlong reports whether the other part of a pressed joint is held by nothing
// else: it then comes away with this part, and is pressed out on the bench.
func (m *machine) comesAlong(j, sp *spec) bool {
	if j.joint.Kind != "press" {
		return false
	}
	for _, id := range j.joint.Between {
		p := m.model.things[specdata.Target("part:"+id)]
		if id != sp.id && (p == nil || len(p.heldBy) > 0 || len(m.model.joints[id]) > 1 || len(m.model.carry[id]) > 0) {
			return false
		}
	}
	return true
}

// undoing and redoing are the verbs that take a thing out of the way and put it back, by its type.
var (
	undoing = map[string]specdata.Verb{"part": specdata.Remove, "joint": specdata.Separate, "connection": specdata.Disconnect, "clip": specdata.Unclip}
	redoing = map[string]specdata.Verb{"part": specdata.Fit, "joint": specdata.Join, "connection": specdata.Connect, "clip": specdata.ClipVerb}
)

func putBack(s *spec) string { return paste(redoing[s.typ], s.key) }

func (m *machine) held(x *subject, by specdata.Target, title, how, mend string) {
	m.failBy(x, by, CauseHeld, "held: "+title+" is "+how, "", mend)
}

func (m *machine) fastenerTitle(id string) string {
	if f := m.fastener(id); f != nil {
		return specdata.InSentence(f.Title)
	}
	return id
}

func (m *machine) stateOf(s *spec, side specdata.Side) State {
	if st := m.states[m.keyOf(s, side)]; st != nil {
		return st.is
	}
	return InPlace
}

// away reports whether a thing is off, apart, undone or open.
func (m *machine) away(s *spec, side specdata.Side) bool { return m.stateOf(s, side) != InPlace }

// needRaised reports a road wheel taken off with the end on the ground.
func (m *machine) needRaised(x *subject) {
	if x.sp != nil && x.sp.part.Wheel && m.end(x.sp.assembly.End).WheelsCarry() {
		end := x.sp.assembly.End
		m.failBy(x, endTarget(end), CauseEnd, "carrying the vehicle", "the "+end+" end raised and supported", "add "+paste(specdata.Raise, endTarget(end))+" and "+paste(specdata.Support, endTarget(end))+" before it")
		return
	}
	m.needEnd(x)
}

// needEnd reports taking off or putting on at an end that the procedure raises for
// it, while that end stands on the ground. A procedure that never raises the end
// works over a pit or from above, and only its reader knows. Loosening first and
// tightening last are often meant to be done on the ground and are left alone.
func (m *machine) needEnd(x *subject) {
	end := x.End
	if end == "" || !m.raises[end] || m.end(end) != Ground {
		return
	}
	m.failBy(x, endTarget(end), CauseEnd, "at the "+end+" end, which is on the ground", "the "+end+" end raised, as this procedure does for it", "move the step to where the end is raised")
}

// inTheWay reports what was put back too early: things that stand in front.
func (m *machine) inTheWay(x *subject) {
	if x.sp == nil {
		return
	}
	for _, id := range x.sp.behind {
		other := m.model.byID(id)
		if other == nil || m.away(other, x.Side) {
			continue
		}
		if st := m.states[m.keyOf(other, x.Side)]; st != nil && st.touched {
			m.failBy(x, other.key, CauseBlocked, "behind "+specdata.InSentence(other.title)+", which is "+st.is.String()+" since "+st.last.Where(), specdata.InSentence(other.title)+" still away", "move this step before "+putBack(other))
		}
	}
}

// needAid reports a joint parted without the puller or wedge that its assembly names.
func (m *machine) needAid(x *subject) {
	if x.sp == nil {
		return
	}
	id := x.sp.joint.Aid
	if !specdata.ValidID(id) || x.Tool == id || x.With == id || m.aidInPlace(id, x.Side) {
		return
	}
	aid := specdata.Target("aid:" + id)
	name := strings.ReplaceAll(id, "-", " ")
	m.failBy(x, aid, CauseAid, "to be parted without its "+name, "the "+name+" in place", "add "+paste(specdata.SetAid, aid)+" before it, or name it as the tool")
}

// needSeals reports a thing put back on the gasket or seal that sealed it before.
func (m *machine) needSeals(x *subject) {
	for _, seal := range m.model.seals[x.id] {
		if s := m.states[m.keyOf(seal, x.Side)]; x.s != nil && x.s.touched && (s == nil || !s.newPiece) {
			name := specdata.InSentence(seal.title)
			m.failBy(x, seal.key, CauseOldPiece, "on the old "+name, "a new "+name, "add "+m.other(x, specdata.Remove, seal.key)+" and {do: fit, target: "+string(seal.key)+", new: true} before it")
		}
	}
}

// needAids reports a part taken off, or a fastener of one loosened, before what the
// assembly wants in place first: a caging bolt, a compressor, a locking pin, a jack.
func (m *machine) needAids(x *subject) {
	if x.sp != nil && x.sp.part != nil {
		m.needAidsOf(x, x.sp, "to be taken off")
	}
	if x.typ == "fastener" {
		for _, held := range m.model.holds[x.id] {
			if held.part != nil && m.stateOf(held, x.Side) == InPlace {
				m.needAidsOf(x, held, "to be loosened")
			}
		}
	}
}

func (m *machine) needAidsOf(x *subject, of *spec, doing string) {
	for _, line := range of.part.Aids {
		id := strings.ReplaceAll(strings.ToLower(line), " ", "-")
		key := string(of.key) + "/" + id + "/" + string(x.Side)
		if !specdata.ValidID(id) || x.Tool == id || x.With == id || m.aidInPlace(id, x.Side) || m.warned[key] {
			continue
		}
		m.warned[key] = true
		aid, name := specdata.Target("aid:"+id), strings.ReplaceAll(id, "-", " ")
		m.failBy(x, aid, CauseAid, doing+" without the "+name+" that "+specdata.InSentence(of.title)+" needs", "the "+name+" in place", "add "+paste(specdata.SetAid, aid)+" before it")
	}
}

func (m *machine) aidInPlace(id string, side specdata.Side) bool {
	aid := specdata.Target("aid:" + id)
	for _, side := range []specdata.Side{"", side} {
		if s := m.states[sided(aid, side, true)]; s != nil && s.is == InPlace {
			return true
		}
	}
	return false
}

// needParts reports a part of a joint or connection that must be on and is off.
func (m *machine) needParts(x *subject) {
	if x.sp == nil {
		return
	}
	ids := x.sp.between()
	for _, id := range ids {
		if !m.partAway(id, x.Side) {
			continue
		}
		p := m.model.things[specdata.Target("part:"+id)]
		name := specdata.InSentence(p.title)
		m.failBy(x, p.key, CauseNotInPlace, "without "+name+", which is off", name+" in place", "add "+m.other(x, specdata.Fit, p.key)+" before it")
	}
}

// heldInPlace reports a fastener started before what it holds is there. Where a nut
// goes back on for a few threads before a taper is parted, the joint is still together.
func (m *machine) heldInPlace(x *subject) {
	for _, held := range m.model.holds[x.id] {
		if is := m.stateOf(held, x.Side); is == Off || is == Apart || is == Undone {
			name := specdata.InSentence(held.title)
			m.failBy(x, held.key, CauseNotInPlace, "without what it holds: "+name+" is "+is.String(), name+" in place", "add "+putBack(held)+" before it")
		}
	}
}

// safeLines reports a fastener loosened that holds a connection under pressure or live:
// the union is open, the spanner on the terminal, before the connection is undone.
func (m *machine) safeLines(x *subject) {
	for _, held := range m.model.holds[x.id] {
		if held.typ == "connection" && !m.away(held, x.Side) {
			m.safeToOpen(x, held.connection)
		}
	}
}

// op writes an operation on the subject as it would stand in the document.
func (m *machine) op(x *subject, verb specdata.Verb, more ...string) string {
	if x.key.Side != "" && m.procedure.Sides == "both" {
		more = append(more, "side: "+string(x.key.Side))
	}
	if x.key.Position > 0 {
		more = append(more, "positions: ["+strconv.Itoa(x.key.Position)+"]")
	}
	return paste(verb, x.Target, more...)
}

// other writes an operation on another thing on the act's side.
func (m *machine) other(x *subject, verb specdata.Verb, target specdata.Target) string {
	if m.procedure.Sides == "both" && (x.Side == specdata.SideLeft || x.Side == specdata.SideRight) {
		typ, id := target.Split()
		sp := m.model.things[target]
		if typ == "fastener" && m.model.handedFastener(id) || sp != nil && sp.assembly.Handed {
			return paste(verb, target, "side: "+string(x.Side))
		}
	}
	return paste(verb, target)
}

// paste writes an operation as a line of a document.
func paste(verb specdata.Verb, target specdata.Target, more ...string) string {
	s := "{do: " + string(verb) + ", target: " + string(target)
	for _, m := range more {
		s += ", " + m
	}
	return s + "}"
}

func list(xs []string) string {
	if len(xs) == 1 {
		return xs[0]
	}
	return strings.Join(xs[:len(xs)-1], ", ") + " or " + xs[len(xs)-1]
}
