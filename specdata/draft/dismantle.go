package draft

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// words collects clauses with their operations and writes them as steps of at most
// maxOps operations.
type words struct {
	w        *writer
	clauses  []string
	ops      []specdata.Operation
	cautions []specdata.Caution
}

// add appends a clause. Its operations stay in one step.
func (b *words) add(clause string, ops ...specdata.Operation) {
	if len(b.ops)+len(ops) > maxOps && len(ops) > 0 {
		b.flush()
	}
	b.clauses = append(b.clauses, clause)
	b.ops = append(b.ops, ops...)
}

func (b *words) warn(c specdata.Caution) { b.cautions = append(b.cautions, c) }

func (b *words) flush() {
	if len(b.clauses) == 0 {
		return
	}
	s := b.w.step(sentence(b.clauses), b.ops...)
	s.Cautions = b.cautions
	b.clauses, b.ops, b.cautions = nil, nil, nil
}

// dismantle takes away what the order says. Fasteners go into the sentence of what they hold.
func (w *writer) dismantle() {
	b := &words{w: w}
	for i, u := range w.order.Acts {
		typ, id := u.Target.Split()
		switch typ {
		case "fastener":
			f := library.Fastener(w.library, id)
			w.relieve(b, f)
			w.takeOut(b, f)
			w.letOut(b, u.Target)
			if next := w.next(i); next != "" && w.holds(next, id) {
				continue // said in one sentence with what it holds
			}
		case "clip":
			b.add("open "+the(u.Title), op(specdata.Unclip, u.Target))
		case "connection":
			w.disconnect(b, u)
		case "joint":
			w.separate(b, u)
		case "part":
			w.takeOff(b, u)
			w.letOut(b, u.Target)
		}
		b.flush()
	}
}

// next returns the first act after i that is no fastener.
func (w *writer) next(i int) specdata.Target {
	for _, u := range w.order.Acts[i+1:] {
		if typ, _ := u.Target.Split(); typ != "fastener" {
			return u.Target
		}
	}
	return ""
}

// holds reports whether a fastener holds a thing.
func (w *writer) holds(t specdata.Target, fastener string) bool {
	typ, _ := t.Split()
	var ids []string
	switch typ {
	case "part":
		ids = w.partOf(t).HeldBy
	case "joint":
		ids = w.jointOf(t).HeldBy
	case "connection":
		ids = w.connectionOf(t).HeldBy
	}
	return slices.Contains(ids, fastener)
}

// relieve lets the pressure out of every circuit that loosening the fastener opens.
func (w *writer) relieve(b *words, f *specdata.Fastener) {
	for i := range w.assembly.Connections {
		if c := &w.assembly.Connections[i]; slices.Contains(c.HeldBy, f.ID) {
			w.letDown(b, c)
		}
	}
}

// letDown lets the pressure out of a connection's circuit in a step of its own.
func (w *writer) letDown(b *words, c *specdata.Connection) {
	circuit := w.circuit(c.Circuit)
	if circuit == nil || w.relieved[circuit.ID] {
		return
	}
	w.relieved[circuit.ID] = true
	if !circuit.Pressurised {
		return
	}
	pending := *b
	b.clauses, b.ops, b.cautions = nil, nil, nil
	t := specdata.Target("circuit:" + circuit.ID)
	switch circuit.Fluid {
	case "coolant":
		b.warn(specdata.Caution{Signal: "warning", Hazard: "hot-fluid", Text: "Hot coolant sprays out and scalds. Open the cap only when the engine is cold, a cloth over it."})
		b.add("let the engine cool down, then open the expansion tank cap slowly to let the pressure out", op(specdata.Depressurise, t))
	case "fuel":
		b.warn(specdata.Caution{Signal: "warning", Hazard: "fire", Text: "Fuel sprays out under pressure and ignites. No flame, spark or hot surface near it, an extinguisher within reach, rags around the union."})
		b.add("let the pressure out of the "+specdata.InSentence(circuit.Title)+" as the vehicle maker says", op(specdata.Depressurise, t))
	default:
		b.warn(specdata.Caution{Signal: "warning", Hazard: "pressure", Text: "A jet under pressure goes through skin and eyes. Never feel for a leak by hand."})
		b.add("let the pressure out of the "+specdata.InSentence(circuit.Title), op(specdata.Depressurise, t))
	}
	b.flush()
	b.clauses, b.ops, b.cautions = pending.clauses, pending.ops, pending.cautions
}

// letOut drains a circuit that an act opens, once.
func (w *writer) letOut(b *words, t specdata.Target) {
	for i := range w.assembly.Circuits {
		c := &w.assembly.Circuits[i]
		if w.opened[c.ID] || !w.drains(c) || !slices.Contains(c.Drain, t) && !slices.Contains(c.ClosedBy, t) {
			continue
		}
		w.opened[c.ID] = true
		b.add("let the "+specdata.InSentence(c.Title)+" run into a clean tray", op(specdata.Drain, specdata.Target("circuit:"+c.ID)))
		b.warnOnce("hot-fluid", specdata.Caution{Signal: "caution", Hazard: "hot-fluid", Text: "The fluid can be hot and is slippery. Catch all of it and dispose of it as local rules say."})
	}
}

// renewed reports whether a fastener is replaced once it was out.
func renewed(f *specdata.Fastener) bool {
	return f.Reuse.Rule == "replace" || f.Reuse.Rule == "replace-if-loosened"
}

func (w *writer) takeOut(b *words, f *specdata.Fastener) {
	w.drive(f)
	name, verb := "the "+named(f), "remove "
	if f.Joint == specdata.JointUnion {
		verb = "undo "
	}
	if undo, _, ok := lockOf(f); ok {
		b.add(undo+" "+name, op(specdata.Unlock, target(f)))
		name = itOrThem(f)
	}
	if hold := holding(f, "hold"); hold != "" {
		b.add(hold)
	}
	b.add(verb+name+leftHand(f, true), with(op(specdata.Remove, target(f)), w.held(f)))
	if renewed(f) {
		b.add("discard "+itOrThem(f), op(specdata.Discard, target(f)))
	}
}

func (w *writer) disconnect(b *words, u Undo) {
	c := w.connectionOf(u.Target)
	w.letDown(b, c)
	b.add("disconnect "+the(u.Title), op(specdata.Disconnect, u.Target))
	circuit := w.circuit(c.Circuit)
	if circuit == nil {
		return
	}
	first := !w.opened[circuit.ID]
	w.opened[circuit.ID] = true
	switch {
	case w.drains(circuit):
		if first {
			b.add("let the "+specdata.InSentence(circuit.Title)+" run into a clean tray", op(specdata.Drain, specdata.Target("circuit:"+circuit.ID)))
			b.warnOnce("hot-fluid", specdata.Caution{Signal: "caution", Hazard: "hot-fluid", Text: "The fluid can be hot and is slippery. Catch all of it and dispose of it as local rules say."})
		}
	default:
		b.add("cap the open ends", op(specdata.Cap, u.Target))
		if circuit.Fluid == "brake-fluid" {
			b.warn(specdata.Caution{Signal: "caution", Hazard: "chemical", Text: "Brake fluid harms eyes, skin and paint. Catch it and wash splashes off at once."})
		}
	}
}

func (b *words) warnOnce(hazard string, c specdata.Caution) {
	for _, s := range b.w.procedure.Steps {
		if slices.ContainsFunc(s.Cautions, func(o specdata.Caution) bool { return o.Hazard == hazard }) {
			return
		}
	}
	b.warn(c)
}

// drains reports whether opening a circuit empties it, so that it is drained and
// filled; brake and fuel lines are capped instead.
func (w *writer) drains(c *specdata.Circuit) bool {
	return c.Fluid == "coolant" || c.Fluid == "engine-oil" || c.Fluid == "gear-oil"
}

func (w *writer) separate(b *words, u Undo) {
	j := w.jointOf(u.Target)
	o := op(specdata.Separate, u.Target)
	clause := "part " + the(u.Title)
	if j.Aid != "" {
		o.Tool = w.aid(j)
		clause += " with the " + strings.ReplaceAll(j.Aid, "-", " ")
		b.warn(specdata.Caution{Signal: "warning", Hazard: "spring", Text: "A joint under the force of a tool lets go with a jump. Eyes protected, hands and face out of its way."})
	}
	b.add(clause, o)
}

// aid lists the puller, wedge or press of a joint and returns its id.
func (w *writer) aid(j *specdata.Joint) string {
	kind := "puller"
	if strings.Contains(j.Aid, "wedge") || strings.Contains(j.Aid, "bar") {
		kind = "hand"
	} else if strings.Contains(j.Aid, "press") && j.Kind == "press" {
		kind = "press"
	}
	return w.tool(specdata.Tool{ID: kebab(j.Aid), Title: title(strings.ReplaceAll(j.Aid, "-", " ")), Kind: kind})
}

// alone is the mass in kg from which one person does not lift without an aid.
const alone = 25

func helped(p *specdata.Part) string {
	if p.Heavy || !p.Mass.IsZero() && p.Mass.SI() >= alone {
		if p.Wheel {
			return " with a wheel dolly or a second person"
		}
		return " with a second person or a lifting aid"
	}
	return ""
}

func (w *writer) takeOff(b *words, u Undo) {
	p := w.partOf(u.Target)
	if p.Friction {
		b.warnOnce("brake-dust", specdata.Caution{Signal: "warning", Hazard: "brake-dust", Text: "Brake and clutch dust harms the lungs. Wash it off wet or use a filtered vacuum, never blow or brush it; wear a mask."})
	}
	if specdata.HasWord(p.Title, "spring") {
		b.warn(specdata.Caution{Signal: "warning", Hazard: "spring", Text: "A spring under load flies off. Eyes protected, the proper spring tool, and nobody in its line."})
	}
	b.add("take off "+the(u.Title)+helped(p), op(specdata.Remove, u.Target))
	if p.HangsOn != "" {
		hook := w.tool(specdata.Tool{ID: "wire-hook", Title: "Wire hook", Kind: "holder"})
		b.add("hang "+them(u.Title)+" up so that the "+p.HangsOn+" carries no weight", with(op(specdata.Hang, u.Target), hook))
	}
	if p.Renew && len(b.ops) < maxOps {
		b.add("discard "+them(u.Title), op(specdata.Discard, u.Target))
	}
}
