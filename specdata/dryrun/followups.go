package dryrun

import "proofload/specdata"

// owe opens the entry for a follow-up that a record asks for.
func (m *machine) owe(a *Act, f *specdata.Fastener, u specdata.FollowUp) {
	e := Entry{Thing: m.key(a), Title: m.title(a), Act: a}
	switch u.Check {
	case "turns-freely":
		e.Debt, e.State, e.Close = DebtTurns, "not checked for turning freely", "add "+m.op(a, specdata.Check)+" or a check of what turns on it"
	case "end-float":
		e.Debt, e.State, e.Close = DebtEndFloat, "without its end float checked", "add "+m.op(a, specdata.Measure)+" with its limits"
	case "leak":
		e.Debt, e.State, e.Close = DebtLeak, "not checked for leaks", "add "+paste(specdata.Check, "place:leaks")
	case "level":
		e.Debt, e.State, e.Close = DebtLevel, "without the level checked", "add "+paste(specdata.Check, "place:level")
	case "warning-lamp":
		e.Debt, e.State, e.Close = DebtLamp, "without the warning lamps checked", "add "+paste(specdata.Check, "place:warning-lamps")
	case "relearn":
		e.Debt, e.State, e.Close = DebtRelearn, "without the relearn it needs", "add "+paste(specdata.Relearn, "place:…")+" that names what is taught"
	case "alignment":
		e.Debt, e.State, e.Close = DebtAlignment, "without the alignment it needs", "add "+paste(specdata.Align, "end:"+m.alignEnd(a))
	case "recheck-torque":
		e.Debt, e.State, e.Close = DebtRecheck, "without advice of the recheck it needs", "add "+m.op(a, specdata.Advise)
		m.out.Owed = append(m.out.Owed, Owed{What: "recheck the torque of " + lowerFirst(f.Title), After: u.After, For: m.key(a), By: a})
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
