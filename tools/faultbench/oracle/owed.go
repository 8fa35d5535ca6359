package oracle

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// A look leaves no mark, but where a record asks for it (a check for leaks, an
// alignment, advice of a recheck) it belongs to the work all the same. answers
// names what an event answers for, "leak" for the whole job or "turns-freely of
// fastener:x left" for one thing.
func (m *model) answers(e *event) []string {
	typ, id := e.op.Target.Split()
	own := m.key(e.op.Target, e.side)
	switch e.op.Do {
	case specdata.Align:
		return []string{"alignment"}
	case specdata.Relearn, specdata.Reset:
		return []string{"relearn"}
	case specdata.Advise:
		if typ == "fastener" {
			return []string{"recheck-torque of " + own}
		}
	case specdata.Check, specdata.Measure, specdata.Count:
		switch typ {
		case "fastener":
			return []string{"turns-freely of " + own, "end-float of " + own}
		case "part":
			var out []string
			if th := m.things[e.op.Target]; th != nil {
				for _, f := range th.heldBy {
					k := m.key(specdata.Target("fastener:"+f), e.side)
					out = append(out, "turns-freely of "+k, "end-float of "+k)
				}
			}
			return out
		case "circuit":
			return []string{"leak", "level"}
		case "place":
			var out []string
			for _, w := range strings.Split(id, "-") {
				switch strings.TrimSuffix(w, "s") {
				case "leak":
					out = append(out, "leak")
				case "level":
					out = append(out, "level")
				case "lamp":
					out = append(out, "warning-lamp")
				}
			}
			return out
		}
	}
	return nil
}

// settled lists what the work asks for and some look after the last of that work answers.
func (m *model) settled(es []event) []string {
	open := map[string]bool{}
	for i := range es {
		e := &es[i]
		for _, debt := range m.owes(e) {
			open[debt] = true
		}
		for _, debt := range m.answers(e) {
			if _, owed := open[debt]; owed {
				open[debt] = false
			}
		}
	}
	var out []string
	for debt, is := range open {
		if !is {
			out = append(out, debt)
		}
	}
	slices.Sort(out)
	return out
}

// owes lists what an event asks for afterwards.
func (m *model) owes(e *event) []string {
	typ, id := e.op.Target.Split()
	switch e.op.Do {
	case specdata.Tighten, specdata.StageVerb, specdata.Turn:
		f := m.fasteners[id]
		if f == nil {
			return nil
		}
		var out []string
		for _, u := range f.FollowUps {
			switch u.Check {
			case "turns-freely", "end-float", "recheck-torque":
				out = append(out, u.Check+" of "+m.key(e.op.Target, e.side))
			default:
				out = append(out, u.Check)
			}
		}
		return out
	case specdata.Fill:
		return []string{"leak"}
	case specdata.Disconnect:
		if th := m.things[e.op.Target]; typ == "connection" && th != nil && th.connection.Circuit != "" {
			return []string{"leak"}
		}
	}
	return nil
}
