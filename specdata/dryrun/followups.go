package dryrun

import "proofload/specdata"

// owe opens the entry for a follow-up that a record asks for.
func (m *machine) owe(x *subject, u specdata.FollowUp) {
	e := Entry{Thing: x.key, name: m.name(x.Act), Act: x.Act}
	switch u.Check {
	case "turns-freely":
		e.Debt, e.State = DebtTurns, "not checked for turning freely"
	case "end-float":
		e.Debt, e.State = DebtEndFloat, "without its end float checked"
	case "leak":
		e.Debt, e.State = DebtLeak, "not checked for leaks"
	case "level":
		e.Debt, e.State = DebtLevel, "without the level checked"
	case "warning-lamp":
		e.Debt, e.State = DebtLamp, "waiting for its warning lamp check"
	case "relearn":
		e.Debt, e.State = DebtRelearn, "without the relearn it needs"
	case "alignment":
		e.Debt, e.State = DebtAlignment, "without the alignment it needs"
	case "recheck-torque":
		e.Debt, e.State = DebtRecheck, "due for a recheck that the owner has not been told of"
		m.out.Owed = append(m.out.Owed, Owed{What: "recheck the torque of " + specdata.InSentence(x.f.Title), After: u.After, For: x.key, By: x.Act})
	default:
		return
	}
	m.ledger.add(e)
}

// alignEnd is the end whose geometry a fastener is part of; the front where the assembly does not say.
func (m *machine) alignEnd(a *Act) string {
	if end := m.endOf(a); end != "" {
		return end
	}
	return "front"
}
