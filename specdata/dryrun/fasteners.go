package dryrun

import (
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// lockedBy reports whether the record's lock has to be undone by an act of its own
// before the fastener turns. A locking insert or compound just drags.
func lockedBy(f *specdata.Fastener) bool {
	if f == nil || f.Lock == nil {
		return false
	}
	switch f.Lock.By {
	case "pin", "stake", "tab", "wire":
		return true
	}
	return false
}

func (m *machine) fastenerState(a *Act) (*state, *specdata.Fastener) {
	id := a.id
	f := m.fastener(id)
	key := m.key(a)
	s, ok := m.states[key]
	if !ok {
		s = m.at(key, final)
		s.locked = lockedBy(f)
		s.stage = stagesOf(f)
	}
	m.needSide(a)
	return s, f
}

// needSide reports an act on a handed thing of a both-sides job that says no side.
func (m *machine) needSide(a *Act) {
	if m.procedure.Sides != "both" || a.Side == specdata.SideLeft || a.Side == specdata.SideRight {
		return
	}
	typ, id := a.typ, a.id
	handed := typ == "fastener" && m.model.handedFastener(id)
	if s := m.model.things[string(a.Target)]; s != nil {
		handed = s.assembly.Handed
	}
	if handed {
		m.fail(a, CauseSide, "on both sides and the step names none", "side: left or side: right", "add the side, or use repeat for the other one")
	}
}

func stagesOf(f *specdata.Fastener) int {
	if f == nil || f.Tightening == nil {
		return 1
	}
	return len(f.Tightening.Stages)
}

func (m *machine) openFastener(a *Act, stateWords string) {
	m.ledger.add(Entry{Debt: DebtFastener, Thing: m.key(a), name: m.name(a), State: stateWords, Out: stateWords == string(removed), Act: a})
}

func (m *machine) unlock(a *Act) {
	s, _ := m.fastenerState(a)
	if !s.locked {
		m.fail(a, CauseTwice, "not locked", "a lock in place", "remove the step")
	}
	s.locked = false
	a.From = string(s.is)
	s.last, s.touched = a, true
	m.owesLock(a)
}

func (m *machine) owesLock(a *Act) {
	f := m.fastenerOf(a)
	by := "its lock"
	if f != nil && f.Lock != nil {
		by = "its " + f.Lock.By
	}
	m.ledger.add(Entry{Debt: DebtLock, Thing: m.key(a), name: m.name(a), State: "without " + by, Act: a})
}

func (m *machine) lock(a *Act) {
	s, f := m.fastenerState(a)
	switch {
	case f != nil && !lockedBy(f):
		m.fail(a, CauseNeverUndone, "without a lock of its own by its record", "a pin, stake, tab or wire in the record", "remove the step, or give the record its lock")
	case s.locked && s.touched:
		m.fail(a, CauseTwice, "locked already", "a lock undone", "remove the second lock")
	case s.locked:
		m.fail(a, CauseNeverUndone, "locked and was not touched", "a lock undone by this procedure", "remove the step or undo the lock first")
	case s.is != final:
		m.fail(a, CauseNotFinal, string(s.is), "the fastener at its final value before it is locked", "add "+m.op(a, specdata.Tighten)+" before it")
	}
	s.locked = true
	s.last, s.touched = a, true
	m.ledger.close(DebtLock, m.key(a))
}

func (m *machine) slacken(a *Act) {
	s, _ := m.fastenerState(a)
	if s.locked {
		m.fail(a, CauseLocked, "still locked", "the lock undone", "add "+m.op(a, specdata.Unlock)+" before it")
		s.locked = false
		m.owesLock(a)
	}
	switch s.is {
	case slack:
		m.fail(a, CauseTwice, "slack already", "a tight fastener", "remove the second slacken")
	case removed:
		m.fail(a, CauseTwice, "out already", "a tight fastener", "remove the step")
	}
	m.set(s, a, slack)
	s.stage = 0
	m.openFastener(a, "loose")
	m.opens(a)
}

func (m *machine) remove(a *Act) {
	if typ := a.typ; typ == "part" {
		m.removePart(a)
		return
	}
	s, _ := m.fastenerState(a)
	if s.locked {
		m.fail(a, CauseLocked, "still locked", "the lock undone", "add "+m.op(a, specdata.Unlock)+" before it")
		s.locked = false
		m.owesLock(a)
	}
	if s.is == removed {
		m.fail(a, CauseTwice, "out already", "a fastener that is in", "remove the second remove")
	}
	m.set(s, a, removed)
	s.stage = 0
	s.newPiece = false
	m.openFastener(a, "out")
	m.opens(a)
	m.needEnd(a)
}

// start runs a thread in by hand. What it holds must be in place, or, where a nut
// goes back on for a few threads before a taper is parted, still together.
func (m *machine) start(a *Act) {
	s, _ := m.fastenerState(a)
	switch {
	case s.is == final && !s.touched:
		m.fail(a, CauseNeverUndone, "in and at its final value, and nothing took it out", "a fastener that is out", "take it out first or remove the step")
	case s.is == final, s.is == started, s.is == snugged, s.is == staged:
		m.fail(a, CauseTwice, string(s.is), "a fastener that is out", "remove the second start")
	case s.is == slack:
		m.fail(a, CauseNeverUndone, "only slack, its thread still on", "a fastener that is out", "add "+m.op(a, specdata.Remove)+" before it, or remove the start")
	}
	id := a.id
	for _, held := range m.model.holds[id] {
		hs := m.states[m.keyOf(held, a.Side)]
		if hs == nil || hs.is != off && hs.is != apart && hs.is != undone {
			continue
		}
		m.failBy(a, specdata.Target(held.target()), CauseNotInPlace, "without what it holds: "+specdata.InSentence(held.title)+" is "+string(hs.is), specdata.InSentence(held.title)+" in place", "add "+putBack(held)+" before it")
	}
	m.set(s, a, started)
	s.stage = 0
	s.newPiece = a.New
	if a.New {
		s.scrap = false
	}
	m.openFastener(a, "only started by hand")
	m.needEnd(a)
}

func putBack(s *spec) string {
	switch s.typ {
	case "joint":
		return paste(specdata.Join, s.target())
	case "connection":
		return paste(specdata.Connect, s.target())
	case "clip":
		return paste(specdata.ClipVerb, s.target())
	}
	return paste(specdata.Fit, s.target())
}

func (m *machine) snug(a *Act) {
	s, _ := m.fastenerState(a)
	switch {
	case s.is == removed:
		m.fail(a, CauseNotInPlace, "out", "the thread started by hand", "add "+m.op(a, specdata.Start)+" before it")
	case s.is == final && !s.touched:
		m.fail(a, CauseNeverUndone, "at its final value, and nothing loosened it", "a fastener started or slack", "remove the step")
	case s.is == final, s.is == snugged:
		m.fail(a, CauseTwice, string(s.is), "a fastener started or slack", "remove the second snug")
	}
	m.set(s, a, snugged)
	m.openFastener(a, "only snug")
}

func (m *machine) deferAct(a *Act) {
	s, _ := m.fastenerState(a)
	switch {
	case s.is == final:
		m.fail(a, CauseTwice, "at its final value", "a fastener that is not final yet", "remove the defer")
	case s.is == removed, s.is == started:
		m.fail(a, CauseNotInPlace, string(s.is), "a fastener that is at least snug while it waits", "add "+m.op(a, specdata.Snug)+" before it")
	case s.deferred:
		m.fail(a, CauseTwice, "deferred already", "one deferral", "remove the second defer")
	}
	s.deferred = true
	m.ledger.add(Entry{Debt: DebtDeferred, Thing: m.key(a), name: m.name(a), State: "waiting for its final tightening " + when(a), Act: a})
}

func (m *machine) resolve(a *Act) {
	s, _ := m.fastenerState(a)
	switch {
	case !s.deferred:
		m.fail(a, CauseNeverUndone, "not deferred", "a deferral to settle", "remove the resolve, or defer it where it is left snug")
	case s.is != final:
		m.fail(a, CauseNotFinal, string(s.is), "the fastener at its final value", "add "+m.op(a, specdata.Tighten)+" before it")
	}
	s.deferred = false
	m.ledger.close(DebtDeferred, m.key(a))
}

func (m *machine) discard(a *Act) {
	typ := a.typ
	var s *state
	gone := off
	if typ == "fastener" {
		s, _ = m.fastenerState(a)
		gone = removed
	} else {
		s = m.at(m.key(a), inPlace)
	}
	a.From = string(s.is)
	switch {
	case s.is != gone:
		m.fail(a, CauseNotInPlace, string(s.is), "a "+typ+" that is "+string(gone), "add "+m.op(a, specdata.Remove)+" before it")
	case s.scrap:
		m.fail(a, CauseTwice, "discarded already", "an old piece", "remove the second discard")
	}
	s.scrap = true
}

// op writes an operation on the act's target as it would stand in the document.
func (m *machine) op(a *Act, verb specdata.Verb, more ...string) string {
	if a.Side != "" && strings.Contains(m.key(a), ", "+string(a.Side)) && m.procedure.Sides == "both" {
		more = append(more, "side: "+string(a.Side))
	}
	if m.position > 0 {
		more = append(more, "positions: ["+strconv.Itoa(m.position)+"]")
	}
	return paste(verb, string(a.Target), more...)
}

// paste writes an operation as a line of a document.
func paste(verb specdata.Verb, target string, more ...string) string {
	if len(more) == 0 { // nearly always
		return "{do: " + string(verb) + ", target: " + target + "}"
	}
	return "{do: " + string(verb) + ", target: " + target + ", " + strings.Join(more, ", ") + "}"
}

func contains(xs []string, x string) bool { return slices.Contains(xs, x) }

func list(xs []string) string {
	if len(xs) == 1 {
		return xs[0]
	}
	return strings.Join(xs[:len(xs)-1], ", ") + " or " + xs[len(xs)-1]
}
