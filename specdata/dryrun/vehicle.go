package dryrun

import "proofload/specdata"

func (m *machine) raise(x *subject) {
	m.setEnd(x.id, Raised)
	m.warned[x.id] = false
}

// wheelsOn reports a road wheel of the end that is off or not run down.
func (m *machine) wheelsOn(x *subject) { m.wheelsOnAt(x, x.id) }

func (m *machine) wheelsOnAt(x *subject, end string) {
	for _, w := range m.touchedWheels(end) {
		st := m.states[w.key]
		if st.is == Off {
			m.fail(x, CauseWheelLoose, "to come down on a wheel that is off since "+st.last.Where(), "the wheel on and its fasteners run down", "add "+paste(specdata.Fit, w.spec.key)+" and snug its fasteners before it")
			continue
		}
		for _, id := range w.spec.heldBy {
			for _, fk := range m.fastenerKeys(id, w.side) {
				fs := m.states[fk]
				if fs == nil || fs.is != Out && fs.is != Started {
					continue
				}
				f := specdata.Target("fastener:" + id)
				m.failBy(x, f, CauseWheelLoose, "to come down on a wheel whose "+m.fastenerTitle(id)+" is "+fs.is.String()+" since "+fs.last.Where(), "the wheel fasteners run down", "add "+paste(specdata.Snug, f)+" before it")
				break
			}
		}
	}
}

type wheelKey struct {
	spec *spec
	key  Thing
	side specdata.Side
}

func (m *machine) touchedWheels(end string) []wheelKey {
	var keys []wheelKey
	for _, w := range m.model.wheelsAt[end] {
		for _, side := range eitherSide {
			k := m.keyOf(w, side)
			if side != "" && k.Side == "" {
				continue // there is one for both sides
			}
			if st := m.states[k]; st != nil && st.touched {
				keys = append(keys, wheelKey{w, k, side})
			}
		}
	}
	return keys
}

// fitForTheRoad reports a vehicle sent on the road with something open that the road
// does not forgive. Follow-ups that are only known on the road may come after it.
func (m *machine) fitForTheRoad(x *subject) {
	for _, e := range m.ledger.left() {
		if e.Debt.FollowUp() && e.Debt != DebtLeak && e.Debt != DebtTurns && e.Debt != DebtEndFloat {
			continue
		}
		m.failBy(x, e.Thing.Target, CauseRoad, "not fit for the road: "+e.Title()+" is "+e.State+" since "+e.Act.Where(), "everything closed before the vehicle moves", m.closing(e)+", before the road test")
	}
}

func (m *machine) driven(*subject) {
	m.hot = true
	m.setSecured(false) // who raises it again chocks it again
	for _, c := range m.circuits {
		c.relieved = false // the engine has run
	}
}
