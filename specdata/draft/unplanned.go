package draft

import (
	"slices"

	"proofload/specdata"
)

// unplanned returns what a job has that a draft never plans, in words: a draft that
// is silent about it would read as if it were not there. Common practice, no source.
func (w *writer) unplanned() []string {
	var said []string
	a := w.assembly
	if slices.ContainsFunc(a.Connections, func(c specdata.Connection) bool { return c.Electrics == "high-voltage" }) {
		said = append(said, "how the high-voltage system is isolated, locked off, waited for and proved dead, and with which gloves; a draft never plans it: a qualified person writes it from the vehicle maker's information before any cover comes off")
	}
	for _, u := range w.order.Acts {
		c := w.connectionOf(u.Target)
		if c == nil {
			continue
		}
		if circuit := w.circuit(c.Circuit); circuit != nil && circuit.Fluid == "air" && w.isBrake() {
			said = append(said, "how the spring of the brake is caged and the air let down before "+specdata.InSentence(c.Title)+" comes off; a draft never plans it: take it from the vehicle maker's information")
		}
	}
	for _, p := range a.Parts {
		if !p.Renew || w.undone("part:"+p.ID) {
			continue
		}
		if i := slices.IndexFunc(p.Behind, func(id string) bool { return w.undone("part:" + id) }); i >= 0 {
			said = append(said, "a step for the "+specdata.InSentence(p.Title)+", which is renewed whenever what covers it is off; order it and fit it new")
		}
	}
	return said
}

// undone reports whether the order undoes a thing.
func (w *writer) undone(target string) bool {
	return slices.ContainsFunc(w.order.Acts, func(u Undo) bool { return string(u.Target) == target })
}
