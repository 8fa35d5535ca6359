package dryrun

import (
	"fmt"
	"strings"

	"proofload/specdata"
)

// debt is what is known of a sort of ledger entry.
type debt struct {
	// followUp: the joint is made, something about it is still owed.
	followUp bool
	// by is the verb that closes it, on is what that acts on: "" for the thing itself
	// as the act that opened the entry names it, else the target to write.
	by specdata.Verb
	on specdata.Target
	// more ends the instruction.
	more string
}

// debts says of each debt what closes it.
var debts = map[Debt]debt{
	DebtFastener:   {by: specdata.Tighten},
	DebtPart:       {by: specdata.Fit},
	DebtJoint:      {by: specdata.Join},
	DebtConnection: {by: specdata.Connect},
	DebtClip:       {by: specdata.ClipVerb},
	DebtHung:       {by: specdata.Unhang},
	DebtAid:        {by: specdata.ClearAid},
	DebtCaps:       {by: specdata.Uncap},
	DebtFill:       {by: specdata.Fill},
	DebtBleed:      {by: specdata.Bleed},
	DebtElectrics:  {by: specdata.Restore},
	DebtRaised:     {by: specdata.Lower},
	DebtLoaded:     {by: specdata.UnloadSuspension},
	DebtDeferred:   {by: specdata.Resolve},
	DebtLock:       {by: specdata.LockVerb, more: " after the final tightening"},
	DebtPedal:      {by: specdata.Pump, more: " before the vehicle moves"},
	DebtChocks:     {by: specdata.Release, on: "vehicle:whole", more: " once it stands on its wheels"},
	DebtCalibrate:  {followUp: true, by: specdata.Calibrate},
	DebtTurns:      {followUp: true, by: specdata.Check, more: " or a check of what turns on it"},
	DebtEndFloat:   {followUp: true, by: specdata.Measure, more: " with its limits"},
	DebtLeak:       {followUp: true, by: specdata.Check, on: "place:leaks"},
	DebtLevel:      {followUp: true, by: specdata.Check, on: "place:level"},
	DebtLamp:       {followUp: true, by: specdata.Check, on: "place:warning-lamps"},
	DebtRelearn:    {followUp: true, by: specdata.Relearn, on: "place:…", more: " that names what is taught"},
	DebtAlignment:  {followUp: true, by: specdata.Align},
	DebtRecheck:    {followUp: true, by: specdata.Advise},
}

// closing says what closes an entry, as an instruction. It is worked out when it is
// asked for: most entries are closed and nobody asks.
func (m *machine) closing(e *Entry) string {
	x := m.subjectAt(e.Last, e.Thing)
	d := debts[e.Debt]
	switch {
	case e.Debt == DebtFastener:
		return m.closingFastener(e, x)
	case e.Debt == DebtPart && x.sp != nil && x.sp.part.Renew:
		return "add " + m.op(x, specdata.Fit, "new: true")
	case e.Debt == DebtDeferred:
		return "tighten it " + when(x.Act) + ", then add " + m.op(x, specdata.Resolve)
	case e.Debt == DebtLeak && strings.HasPrefix(string(e.Thing.Target), "circuit:"):
		d.more = " once it is closed and full"
	case e.Debt == DebtAlignment:
		d.on = specdata.Target("end:" + m.alignEnd(x.Act))
	}
	if d.on == "" && e.Thing.Target == x.Target {
		return "add " + m.op(x, d.by) + d.more
	}
	if d.on == "" {
		d.on = e.Thing.Target
	}
	return "add " + paste(d.by, d.on) + d.more
}

func (m *machine) closingFastener(e *Entry, x *subject) string {
	switch {
	case e.Is == Out:
		start := m.op(x, specdata.Start)
		if x.f != nil && x.f.Reuse != nil && strings.HasPrefix(x.f.Reuse.Rule, "replace") {
			start = m.op(x, specdata.Start, "new: true")
		}
		return "add " + start + " and " + m.op(x, specdata.Tighten)
	case e.Is == Staged:
		return fmt.Sprintf("add stage %d and those after it", x.Stage+1)
	}
	return "add " + m.op(x, specdata.Tighten)
}

// when says when a deferred act is due.
func when(a *Act) string {
	if a.Until == "" {
		return "later"
	}
	return "at " + strings.ReplaceAll(string(a.Until), "-", " ")
}

// ClosedBy returns the verb that closes an entry of the debt.
func (d Debt) ClosedBy() specdata.Verb { return debts[d].by }
