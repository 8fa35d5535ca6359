package dryrun

import (
	"fmt"
	"strings"

	"proofload/specdata"
)

// closing says what closes an entry, as an instruction. It is worked out when it is
// asked for: most entries are closed and nobody asks.
func (m *machine) closing(e *Entry) string {
	a := e.Last
	m.position = e.position()
	defer func() { m.position = 0 }()
	op := func(v specdata.Verb, more ...string) string { return m.op(a, v, more...) }
	thing := func(v specdata.Verb) string { return paste(v, string(e.target())) }
	switch e.Debt {
	case DebtFastener:
		return m.closingFastener(e, op)
	case DebtPart:
		if sp := m.model.things[string(a.Target)]; sp != nil && sp.part.Renew {
			return "add " + op(specdata.Fit, "new: true")
		}
		return "add " + op(specdata.Fit)
	case DebtJoint:
		return "add " + op(specdata.Join)
	case DebtConnection:
		return "add " + op(specdata.Connect)
	case DebtClip:
		return "add " + op(specdata.ClipVerb)
	case DebtHung:
		return "add " + op(specdata.Unhang)
	case DebtAid:
		return "add " + op(specdata.ClearAid)
	case DebtCaps:
		return "add " + op(specdata.Uncap)
	case DebtFill:
		return "add " + thing(specdata.Fill)
	case DebtBleed:
		return "add " + thing(specdata.Bleed)
	case DebtElectrics:
		return "add " + thing(specdata.Restore)
	case DebtRaised:
		return "add " + thing(specdata.Lower)
	case DebtLoaded:
		return "add " + thing(specdata.UnloadSuspension)
	case DebtDeferred:
		return "tighten it " + when(a) + ", then add " + op(specdata.Resolve)
	case DebtLock:
		return "add " + op(specdata.LockVerb) + " after the final tightening"
	case DebtPedal:
		return "add " + thing(specdata.Pump) + " before the vehicle moves"
	case DebtTurns:
		return "add " + op(specdata.Check) + " or a check of what turns on it"
	case DebtEndFloat:
		return "add " + op(specdata.Measure) + " with its limits"
	case DebtLeak:
		if typ, _ := e.target().Split(); typ == "circuit" {
			return "add " + paste(specdata.Check, "place:leaks") + " once it is closed and full"
		}
		return "add " + paste(specdata.Check, "place:leaks")
	case DebtLevel:
		return "add " + paste(specdata.Check, "place:level")
	case DebtLamp:
		return "add " + paste(specdata.Check, "place:warning-lamps")
	case DebtRelearn:
		return "add " + paste(specdata.Relearn, "place:…") + " that names what is taught"
	case DebtAlignment:
		return "add " + paste(specdata.Align, "end:"+m.alignEnd(a))
	case DebtRecheck:
		return "add " + op(specdata.Advise)
	}
	return ""
}

func (m *machine) closingFastener(e *Entry, op func(specdata.Verb, ...string) string) string {
	switch a := e.Last; {
	case e.Out:
		start := op(specdata.Start)
		if f := m.fastenerOf(a); f != nil && f.Reuse != nil && strings.HasPrefix(f.Reuse.Rule, "replace") {
			start = op(specdata.Start, "new: true")
		}
		return "add " + start + " and " + op(specdata.Tighten)
	case strings.HasPrefix(e.State, atStage):
		return fmt.Sprintf("add stage %d and those after it", a.Stage+1)
	}
	return "add " + op(specdata.Tighten)
}

// atStage is how the state of a fastener part way through its stages begins.
const atStage = "at stage "

// when says when a deferred act is due.
func when(a *Act) string {
	if a.Until == "" {
		return "later"
	}
	return "at " + strings.ReplaceAll(string(a.Until), "-", " ")
}
