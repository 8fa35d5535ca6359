package draft

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// dismantle takes away what the order says. Fasteners go into the sentence of what they hold.
func (w *writer) dismantle() {
	b := &words{w: w}
	opens, live := w.exposed()
	for i, u := range w.acts {
		if opens[i] {
			b.warn(specdata.Caution{Signal: "danger", Hazard: "electric-shock", Text: "Treat everything behind it as live until it is proved dead there: gloves and face shield on, nothing touched."})
		}
		w.setAids(b, i)
		typ, id := u.Target.Split()
		switch typ {
		case "fastener":
			f := library.Fastener(w.library, id)
			w.relieve(b, f)
			w.letOut(b, u.Target)
			w.takeOut(b, f)
			b.behind()
			if next := w.next(i); next != "" && w.holds(next, id) && !opens[i] {
				continue // said in one sentence with what it holds
			}
		case "clip":
			b.add("open "+the(u.Title), op(specdata.Unclip, u.Target))
		case "connection":
			w.disconnect(b, u)
		case "joint":
			w.separate(b, u)
		case "part":
			w.letOut(b, u.Target)
			w.takeOff(b, u)
		}
		b.flush()
		if names := live[i]; len(names) > 0 {
			w.proveDead("Prove "+and(names)+" dead at every pair of terminals that lies open now, and each to the body, before a hand goes in.", "no reading between any two terminals and none to the body")
		}
	}
}

// next returns the first act after i that is no fastener.
func (w *writer) next(i int) specdata.Target {
	for _, u := range w.acts[i+1:] {
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
			w.letDown(b, w.circuit(c.Circuit))
		}
	}
}

// letDown lets the pressure out of a circuit in a step of its own, once.
func (w *writer) letDown(b *words, c *specdata.Circuit) {
	if c == nil || w.relieved[c.ID] {
		return
	}
	w.relieved[c.ID] = true
	switch c.Fluid {
	case "fuel", "refrigerant":
		w.protect("face")
	case "air":
		w.protect("hearing")
	}
	warning := fluidHazard(c)
	if !c.Pressurised && c.Fluid != "refrigerant" {
		if warning.Text != "" {
			b.warnOnce(warning)
		}
		return
	}
	pending := *b
	b.clauses, b.ops, b.cautions = nil, nil, nil
	let := op(specdata.Depressurise, specdata.Target("circuit:"+c.ID))
	name := the(c.Title)
	b.warn(warning)
	switch c.Fluid {
	case "coolant":
		if !w.needs(specdata.StateCold) { // else cold already
			b.add("let the engine cool down", accepting(op(specdata.Check, "place:engine-temperature"), "cold to the hand"))
		}
		b.add("open the cap of the cooling system slowly to let the pressure out", let)
	case "fuel":
		b.add("let the pressure out of "+name+" as the vehicle maker says", let)
	case "air":
		b.add("open the drain valves of all air tanks until the gauges read zero", let, accepting(op(specdata.Check, "place:air-gauges"), "all at zero"))
	case "refrigerant":
		b.add("have the refrigerant recovered with a recovery station by a person certified for it", let)
	default:
		b.add("let the pressure out of "+name, let)
	}
	b.flush()
	b.clauses, b.ops, b.cautions = pending.clauses, pending.ops, pending.cautions
}

// fluidHazard returns what warns before a circuit is opened, nothing where its fluid
// alone hurts nobody.
func fluidHazard(c *specdata.Circuit) specdata.Caution {
	switch {
	case c.Fluid == "coolant":
		return specdata.Caution{Signal: "warning", Hazard: "hot-fluid", Text: "Hot coolant sprays out and scalds. Open the system only when the engine is cold, a cloth over the cap."}
	case c.Fluid == "fuel":
		return specdata.Caution{Signal: "warning", Hazard: "fire", Text: "Fuel sprays out under pressure and ignites. No flame, spark or hot surface near it, an extinguisher within reach, rags around the union."}
	case c.Fluid == "refrigerant":
		return specdata.Caution{Signal: "warning", Hazard: "pressure", Text: "Refrigerant freezes eyes and skin and may not be let into the air. Only a person certified for it opens the circuit."}
	case c.Fluid == "air":
		return specdata.Caution{Signal: "warning", Hazard: "pressure", Text: "Air under pressure drives dirt and hose ends into eyes and skin. Undo nothing before every gauge reads zero."}
	case c.Fluid == "engine-oil", c.Fluid == "gear-oil":
		if !c.Pressurised {
			return specdata.Caution{Signal: "caution", Hazard: "hot-fluid", Text: hotFluid}
		}
	case !c.Pressurised:
		return specdata.Caution{}
	}
	return specdata.Caution{Signal: "warning", Hazard: "pressure", Text: "A jet under pressure goes through skin and eyes. Never feel for a leak by hand."}
}

const hotFluid = "The fluid can be hot and is slippery. Catch all of it and dispose of it as local rules say."

// letOut drains a circuit that an act opens, once: through its drain plug where it has
// one, else where the act opens it.
func (w *writer) letOut(b *words, t specdata.Target) {
	for i := range w.assembly.Circuits {
		c := &w.assembly.Circuits[i]
		if !w.opened[c.ID] && drains(c) && (slices.Contains(c.Drain, t) || slices.Contains(c.ClosedBy, t)) {
			w.opening(b, c)
		}
	}
}

// opening drains a circuit that the next act opens. Where it has a drain plug that is
// taken out first; else the draining is said behind the act.
func (w *writer) opening(b *words, c *specdata.Circuit) {
	first := !w.opened[c.ID]
	w.opened[c.ID] = true
	if !first || !drains(c) {
		return
	}
	w.letDown(b, c)
	let := op(specdata.Drain, specdata.Target("circuit:"+c.ID))
	clause := "let " + the(c.Title) + " run into a clean tray"
	caution := specdata.Caution{Signal: "caution", Hazard: "hot-fluid", Text: hotFluid}
	for _, t := range c.Drain {
		if f := w.plug(t); f != nil && !w.undone(t) {
			pending := *b
			b.clauses, b.ops, b.cautions = nil, nil, nil
			b.warnOnce(caution)
			w.takeFillersOut(b, c)
			w.takeOut(b, f)
			b.add(clause, let)
			b.flush()
			b.clauses, b.ops, b.cautions = pending.clauses, pending.ops, pending.cautions
			w.plugs = append(w.plugs, f)
			return
		}
	}
	b.warnOnce(caution)
	b.later = append(b.later, laterOp{clause, let})
}

// takeFillersOut takes out the plugs that gear oil is filled through before it is let
// out: one that does not come undone leaves the axle dry. Common practice, no source.
func (w *writer) takeFillersOut(b *words, c *specdata.Circuit) {
	if c.Fluid != "gear-oil" {
		return
	}
	for _, t := range c.Fill {
		if f := w.plug(t); f != nil && !w.undone(t) && !slices.Contains(w.fillers, f) {
			w.fillers = append(w.fillers, f)
			w.takeOut(b, f)
			b.flush()
		}
	}
}

// renewed reports whether a fastener, or a piece of it, is replaced once it was out.
func renewed(f *specdata.Fastener) bool {
	return f.Reuse != nil && (f.Reuse.Rule == "replace" || f.Reuse.Rule == "replace-if-loosened" || len(f.Reuse.Renew) > 0)
}

// pieces returns the small pieces that are replaced where the fastener itself goes
// back: "sealing washer", "split pin".
func pieces(f *specdata.Fastener) []string {
	if f.Reuse == nil || slices.Contains(f.Reuse.Renew, "bolt") || slices.Contains(f.Reuse.Renew, "nut") {
		return nil
	}
	var out []string
	for _, p := range f.Reuse.Renew {
		switch {
		case p == "washer" && slices.Contains([]specdata.JointKind{specdata.JointPlug, specdata.JointBanjo, specdata.JointUnion, specdata.JointSensor}, f.Joint):
			p = "sealing washer"
		case p == "pin":
			p = "split pin"
		}
		out = append(out, p)
	}
	return out
}

func (w *writer) takeOut(b *words, f *specdata.Fastener) {
	w.drive(f)
	b.only(w.where(f))
	name, verb := "the "+named(f), "remove "
	if f.Joint == specdata.JointUnion {
		verb = "undo "
	}
	undo, _, locked := lockOf(f)
	ops := 1
	if locked {
		ops++
	}
	if renewed(f) {
		ops++
	}
	b.room("", ops)
	if locked {
		b.of(name, itOrThem(f), undo+" %s", op(specdata.Unlock, target(f)))
	}
	o := with(op(specdata.Remove, target(f)), w.held(f))
	clause := verb + "%s" + loosening(f) + leftHand(f, true)
	said := b.said
	if hold := holding(f, "hold"); hold != "" {
		b.add(hold)
		b.said = said
	}
	b.of(name, itOrThem(f), clause, o)
	switch small := pieces(f); {
	case !renewed(f):
	case len(small) == 0:
		b.of(name, itOrThem(f), "discard %s", op(specdata.Discard, target(f)))
	case f.Count > 1:
		b.add("discard the old "+plural(and(small)), op(specdata.Discard, target(f)))
	default:
		b.add("discard the old "+and(small), op(specdata.Discard, target(f)))
	}
	if len(b.clauses) > 0 && b.where != nil {
		b.flush()
	}
	b.only(nil)
}

func (w *writer) disconnect(b *words, u Undo) {
	c := w.connectionOf(u.Target)
	circuit := w.circuit(c.Circuit)
	w.letDown(b, circuit)
	if circuit != nil {
		w.opening(b, circuit)
	}
	b.of(the(u.Title), them(u.Title), "disconnect %s", op(specdata.Disconnect, u.Target))
	b.behind()
	if circuit != nil && !drains(circuit) {
		b.add("cap the open ends", op(specdata.Cap, u.Target))
		if circuit.Fluid == "brake-fluid" {
			b.warn(specdata.Caution{Signal: "caution", Hazard: "chemical", Text: "Brake fluid harms eyes, skin and paint. Catch it and wash splashes off at once."})
		}
	}
}

// drains reports whether opening a circuit empties it, so that it is drained and
// filled; other lines are capped instead.
func drains(c *specdata.Circuit) bool {
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
	return w.tool(specdata.Tool{ID: clipID(kebab(j.Aid)), Title: title(strings.ReplaceAll(j.Aid, "-", " ")), Kind: kind})
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
	p, name := w.partOf(u.Target), the(u.Title)
	if p.Friction {
		w.protect("mask")
		b.warnOnce(specdata.Caution{Signal: "warning", Hazard: "brake-dust", Text: "Brake and clutch dust harms the lungs. Wash it off wet or use a filtered vacuum, never blow or brush it; wear a mask."})
	}
	if isSpring(p) && len(w.aidsOf(p)) == 0 {
		b.warn(specdata.Caution{Signal: "warning", Hazard: "spring", Text: "A spring under load flies off. Eyes protected, the proper spring tool, and nobody in its line."})
	}
	if p.Renew || p.HangsOn != "" {
		b.room("", 2)
	}
	if isBelt(p) {
		if !p.Renew {
			b.of(name, name, "mark which way %s runs", op(specdata.Mark, u.Target))
		}
		if len(p.Aids) == 0 && len(p.HeldBy) == 0 {
			bar := w.tool(specdata.Tool{ID: "tensioner-bar", Title: "Bar for the tensioner", Kind: "hand"})
			b.of(name, them(u.Title), "slacken the tensioner, take off %s and let the tensioner back slowly", using(op(specdata.Remove, u.Target), bar))
		} else {
			b.of(name, them(u.Title), "take %s off", op(specdata.Remove, u.Target))
		}
	} else {
		b.of(name, them(u.Title), "take off %s"+helped(p), op(specdata.Remove, u.Target))
	}
	b.behind()
	if p.HangsOn != "" {
		hook := w.tool(specdata.Tool{ID: "wire-hook", Title: "Wire hook", Kind: "holder"})
		b.of(name, them(u.Title), "hang %s up so that "+the(strings.TrimPrefix(p.HangsOn, "the "))+" carries no weight", with(op(specdata.Hang, u.Target), hook))
	}
	if p.Renew {
		b.of(name, them(u.Title), "discard %s", op(specdata.Discard, u.Target))
	}
}

// isSpring reports whether a part is a spring that is unhooked or pressed together.
func isSpring(p *specdata.Part) bool {
	head, _ := headNoun(strings.ToLower(p.Title))
	return strings.HasSuffix(strings.TrimSuffix(head, "s"), "spring")
}

// isBelt reports whether a part is a belt that an engine drives.
func isBelt(p *specdata.Part) bool {
	head, _ := headNoun(strings.ToLower(p.Title))
	return strings.HasSuffix(strings.TrimSuffix(head, "s"), "belt") && !says(p.Title, "seat belt")
}
