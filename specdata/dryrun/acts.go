package dryrun

import (
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

func stagesOf(f *specdata.Fastener) int {
	if f == nil || f.Tightening == nil {
		return 1
	}
	return len(f.Tightening.Stages)
}

// The acts below do what their rows of the table cannot say.

func (m *machine) loosened(x *subject) {
	x.s.stage = 0
	if x.s.is == Out {
		x.s.newPiece = false
	}
}

func (m *machine) unlock(x *subject) {
	x.s.locked = false
	m.owesLock(x)
}

func (m *machine) owesLock(x *subject) {
	by := "its lock"
	if x.f != nil && x.f.Lock != nil {
		by = "its " + x.f.Lock.By
	}
	m.owes(x, DebtLock, "without "+by)
}

func (m *machine) started(x *subject) {
	x.s.stage, x.s.newPiece = 0, x.New
	if x.New {
		x.s.scrap = false
	}
}

func (m *machine) deferred(x *subject) {
	x.s.deferred = true
	m.owes(x, DebtDeferred, "waiting for its final tightening "+when(x.Act))
}

func (m *machine) discard(x *subject) { x.s.scrap = true }

// hangs notes a part whose weight something must carry from now on.
func (m *machine) hangs(x *subject) {
	if x.sp != nil && x.sp.part.HangsOn != "" {
		m.hanging = &hangingPart{x}
	}
}

func (m *machine) fitted(x *subject) {
	x.s.scrap, x.s.newPiece = false, x.New
	if x.sp == nil {
		return
	}
	// A joint that came away with this part is together again when both its parts are on.
	for _, j := range m.model.joints[x.sp.id] {
		m.reseat(x, j)
	}
}

func (m *machine) reseat(x *subject, j *spec) {
	if j.joint.Kind != "slide" && j.joint.Kind != "spline" {
		return
	}
	key := m.keyOf(j, x.Side)
	js := m.states[key]
	if js == nil || js.is != Apart {
		return
	}
	for _, id := range j.joint.Between {
		if m.partAway(id, x.Side) {
			return
		}
	}
	js.is, js.last, js.touched = InPlace, x.Act, true
	m.ledger.close(DebtJoint, key)
}

func (m *machine) retract(x *subject) {
	m.retracted[x.key] = true
	m.ledger.add(Entry{Debt: DebtPedal, Thing: Thing{Target: "place:brake-pedal"}, name: "brake pedal", State: "without pressure", Act: x.Act})
}

func (m *machine) pump(*subject) {
	clear(m.retracted)
	m.ledger.closeAll(DebtPedal)
}

func (m *machine) advise(x *subject) {
	if x.typ != "fastener" {
		m.ledger.closeAll(DebtRecheck)
		return
	}
	m.ledger.close(DebtRecheck, x.key)
}

func (m *machine) measure(x *subject) {
	if x.typ == "suspension" && m.end(x.id) == Ground {
		m.out.rideHeightKnown[x.id] = true
	}
	m.check(x)
}

// check answers the follow-ups that its target stands for.
func (m *machine) check(x *subject) {
	if specdata.HasWord(x.Accept, "cold") {
		m.hot = false
	}
	switch x.typ {
	case "fastener":
		m.ledger.close(DebtTurns, x.key)
		m.ledger.close(DebtEndFloat, x.key)
		m.ledger.close(DebtLeak, x.key)
	case "part":
		// What turns on the fastener is checked in its stead.
		if x.Do == specdata.Inspect || x.sp == nil {
			return
		}
		for _, f := range x.sp.heldBy {
			for _, k := range m.fastenerKeys(f, x.Side) {
				m.ledger.close(DebtTurns, k)
				m.ledger.close(DebtEndFloat, k)
			}
		}
	case "circuit":
		if !m.circuit(x.id).drained {
			m.ledger.close(DebtLeak, x.key)
			m.closeLeaksOf(x.id)
			m.ledger.closeAll(DebtLevel)
		}
	case "place":
		m.checkPlace(x.id)
	}
}

func (m *machine) closeLeaksOf(circuit string) {
	for _, c := range m.model.lines[circuit] {
		for _, id := range c.heldBy {
			for _, side := range eitherSide {
				for _, k := range m.fastenerKeys(id, side) {
					m.ledger.close(DebtLeak, k)
				}
			}
		}
	}
}

// eitherSide are the sides a thing can be on.
var eitherSide = []specdata.Side{"", specdata.SideLeft, specdata.SideRight}

// checkPlace answers follow-ups by the words of the place that is checked.
func (m *machine) checkPlace(id string) {
	for w := range strings.SplitSeq(id, "-") {
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
