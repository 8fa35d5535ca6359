package draft

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// finish puts the vehicle back on its wheels, fills, revives and tries it.
func (w *writer) finish() {
	if w.raised() {
		w.step("Lower the "+w.assembly.End+" to the ground.", using(op(specdata.Lower, w.endTarget()), "jack"))
	}
	for _, s := range w.grounded {
		w.procedure.Steps = append(w.procedure.Steps, w.onBoth(s))
	}
	w.down = true
	w.fillToLevel()
	for _, e := range slices.Backward(w.electrics()) {
		w.restore(e)
	}
	w.fillAir()
	switch w.brakes() {
	case "brake-fluid":
		w.step("Pump the brake pedal until it is firm before the vehicle moves.", accepting(op(specdata.Pump, "place:brake-pedal"), "firm pedal"))
	case "air":
		w.step("Press the brake pedal with the tanks full and try the parking brake before the vehicle moves.",
			accepting(op(specdata.Pump, "place:brake-pedal"), "full braking on both sides"), accepting(op(specdata.Check, "place:parking-brake"), "holds on both sides"))
	}
	w.checkCircuits()
	w.cure()
	w.lamps()
	w.travel()
	w.calibrate()
	if w.stands() {
		w.last = append(w.last, newStep("Take the chocks away.", op(specdata.Release, "vehicle:whole")))
	}
	w.roadTest()
	for _, s := range inOrder(w.last) {
		w.procedure.Steps = append(w.procedure.Steps, w.onBoth(s))
	}
	w.record()
	w.number()
}

// record says what goes on to the job card: what the job reached and no more.
func (w *writer) record() {
	what := []string{"the work done"}
	if len(w.fasteners()) > 0 {
		what = []string{"the torques reached", "the wrench numbers"}
	}
	if slices.Contains(w.electrics(), highVoltage) {
		what = append(what, "who isolated", "who proved dead")
	}
	if len(w.procedure.Parts) > 0 {
		what = append(what, "the parts that were renewed")
	}
	w.step("Record "+and(what)+".", op(specdata.RecordJob, "job:record"))
}

// lamps looks at the warning lamps where the job undid a plug or took the power away.
func (w *writer) lamps() {
	if len(w.electrics()) > 0 || slices.ContainsFunc(w.acts, func(u Undo) bool {
		c := w.connectionOf(u.Target)
		return c != nil && (c.Kind == "plug" || c.Kind == "cable" && c.Circuit == "" && c.Electrics != "")
	}) {
		w.last = append(w.last, newStep(lampText, accepting(op(specdata.Check, "place:warning-lamps"), "all out after the self-test")))
	}
}

// travel looks at hoses and leads through the travel of what was undone: 49 CFR part
// 570 asks for brake hoses; the rest is common practice, no source.
func (w *writer) travel() {
	hose := slices.ContainsFunc(w.acts, func(u Undo) bool {
		return says(u.Title, "brake hose", "brake pipe", "steering", "strut", "track rod", "tie rod")
	})
	if !w.raised() || !hose && !w.safety("steering", "suspension") {
		return
	}
	if w.assembly.End == "front" {
		w.last = append(w.last, newStep("Turn the steering from lock to lock and look along every hose and lead to see that none pulls tight, twists or touches.",
			accepting(op(specdata.Check, "place:full-travel"), "nothing tight, twisted or touching from lock to lock and through the full travel of the suspension")))
		return
	}
	w.last = append(w.last, newStep("Press the rear down and let it rise and look along every hose and lead to see that none pulls tight, twists or touches.",
		accepting(op(specdata.Check, "place:full-travel"), "nothing tight, twisted or touching through the full travel of the suspension")))
}

// roadTest tries the vehicle where the job was on what keeps it on the road.
func (w *writer) roadTest() {
	brakes := w.brakes()
	if brakes == "" && !w.safety("steering", "suspension", "wheel") {
		return
	}
	accept := "no noise, no pull, steering wheel straight"
	switch {
	case brakes == "air":
		accept = "straight braking, no warning lamp"
	case brakes != "":
		accept = "no noise, no pull, firm pedal, steering wheel straight"
	}
	text := "Drive a short test on a clear road."
	switch {
	case brakes != "" && w.newLinings():
		text = "Drive a short test on a clear road, brake gently and bed the new linings in as the vehicle maker says."
	case brakes != "":
		text = "Drive a short test on a clear road and brake gently, then harder."
	}
	w.last = append(w.last, newStep(text, accepting(op(specdata.RoadTest, "vehicle:whole"), accept)))
}

// newLinings reports whether a part that rubs is renewed.
func (w *writer) newLinings() bool {
	return slices.ContainsFunc(w.acts, func(u Undo) bool {
		p := w.partOf(u.Target)
		return p != nil && p.Friction && p.Renew
	})
}

// cure waits for the products whose time the assembly gives.
func (w *writer) cure() {
	for _, t := range w.assembly.Waits {
		c := w.procedure.ConsumableOf(t.For)
		if c == nil || slices.Contains(w.settled, t.For) {
			continue
		}
		o := with(op(specdata.Wait, specdata.Target("place:"+t.For)), c.ID)
		o.For = t.Least
		w.step("Wait {wait} for the "+specdata.InSentence(c.Title)+".", o)
	}
}

// inOrder drops checks that are there twice and puts checks before the road test and
// advice behind it.
func inOrder(steps []specdata.Step) []specdata.Step {
	seen := map[string]bool{}
	out := slices.DeleteFunc(slices.Clone(steps), func(s specdata.Step) bool {
		key := s.Text + optioned("", s.Where)
		twice := seen[key] || seen[s.Text]
		seen[key] = true
		return twice
	})
	rank := func(s specdata.Step) int {
		switch s.Operations[0].Do {
		case specdata.Release:
			return 1
		case specdata.RoadTest:
			return 2
		case specdata.Advise:
			return 3
		}
		return 0
	}
	slices.SortStableFunc(out, func(a, b specdata.Step) int { return rank(a) - rank(b) })
	return out
}

// circuits returns the circuits that the job opens, in the assembly's order.
func (w *writer) circuits() []*specdata.Circuit {
	var cs []*specdata.Circuit
	for i := range w.assembly.Circuits {
		if w.opened[w.assembly.Circuits[i].ID] {
			cs = append(cs, &w.assembly.Circuits[i])
		}
	}
	return cs
}

// fillCircuits fills what was drained and bleeds what air got into, once everything of it is closed.
func (w *writer) fillCircuits() {
	for _, c := range w.circuits() {
		if len(c.Level) > 0 && drains(c) || c.Fluid == "air" {
			continue // with the vehicle level, or by the engine, later
		}
		w.opened[c.ID] = false // done
		w.filled = append(w.filled, c)
		t := specdata.Target("circuit:" + c.ID)
		switch {
		case drains(c):
			w.pour(c, "Fill in "+w.fluidOf(c)+".", with(op(specdata.Fill, t), w.fresh(c)))
		case c.Fluid == "refrigerant":
			w.step("Have the system evacuated, proved tight and charged with "+w.fluidOf(c)+" by a person certified for it.", with(op(specdata.Fill, t), w.fresh(c)))
		case c.Fluid == "hydraulic-oil", c.Fluid == "brake-fluid" && !c.Bleed:
			w.step("Top up with "+w.fluidOf(c)+" to the mark.", with(op(specdata.Fill, t), w.fresh(c)))
		}
		w.bleed(c)
	}
}

// bleed gets the air out of a circuit that wants it.
func (w *writer) bleed(c *specdata.Circuit) {
	if !c.Bleed {
		return
	}
	o := op(specdata.Bleed, specdata.Target("circuit:"+c.ID))
	if !drains(c) && c.Fluid != "air" {
		o.With = w.fresh(c)
	}
	w.step("Bleed the "+bleeds(c)+" in the vehicle maker's order until no bubbles come, keeping the reservoir topped up.", o)
}

// pour fills a circuit through its opening where that is a fastener, part or clip, and
// lets the level settle for the time of the record.
func (w *writer) pour(c *specdata.Circuit, text string, fill specdata.Operation) {
	b := &words{w: w}
	var plugs []*specdata.Fastener
	opened := w.openings(b, c.Fill, &plugs)
	b.flush()
	w.step(text, fill)
	w.settle(c)
	w.shut(b, opened, plugs)
}

// openings opens what a circuit is filled through or its level read at, and returns
// what was opened.
func (w *writer) openings(b *words, ts []specdata.Target, plugs *[]*specdata.Fastener) []specdata.Target {
	var opened []specdata.Target
	for _, t := range ts {
		typ, _ := t.Split()
		switch {
		case typ == "fastener":
			if f := w.plug(t); f != nil {
				*plugs = append(*plugs, f)
				if !slices.Contains(w.fillers, f) {
					w.takeOut(b, f)
				}
			}
		case typ == "clip":
			b.add("open "+the(w.titleOf(t)), op(specdata.Unclip, t))
			opened = append(opened, t)
		case typ == "part":
			if p := w.partOf(t); p != nil && !p.Renew && len(p.HeldBy) == 0 {
				b.add("take off "+the(p.Title), op(specdata.Remove, t))
				opened = append(opened, t)
			}
		}
	}
	return opened
}

// shut closes again what openings opened.
func (w *writer) shut(b *words, opened []specdata.Target, plugs []*specdata.Fastener) {
	for _, t := range opened {
		if typ, _ := t.Split(); typ == "clip" {
			b.add("close "+the(w.titleOf(t)), op(specdata.ClipVerb, t))
		} else {
			b.add("fit "+the(w.titleOf(t)), op(specdata.Fit, t))
		}
	}
	for _, f := range plugs {
		w.start(b, f)
	}
	b.flush()
	for _, f := range plugs {
		w.finalLater(f)
	}
}

// settle waits for a fluid whose time the assembly gives, by its circuit or its kind.
func (w *writer) settle(c *specdata.Circuit) {
	for _, name := range []string{c.ID, c.Fluid} {
		if least := w.leastWait(name); !least.IsZero() && !slices.Contains(w.settled, name) {
			w.settled = append(w.settled, name)
			o := op(specdata.Wait, specdata.Target("place:"+c.ID+"-level"))
			o.For = least
			w.step("Wait {wait} for the "+strings.ReplaceAll(c.Fluid, "-", " ")+" to settle.", o)
			return
		}
	}
}

// fluidOf returns what a circuit is filled with, in words.
func (w *writer) fluidOf(c *specdata.Circuit) string {
	name := "fresh " + strings.ReplaceAll(c.Fluid, "-", " ")
	if drains(c) || c.Fluid == "refrigerant" {
		if !c.Capacity.IsZero() {
			return "{amount:" + w.fresh(c) + "} of " + name
		}
		return name + ", as much as the vehicle maker gives"
	}
	return name
}

// fresh lists the fluid of a circuit and returns its id.
func (w *writer) fresh(c *specdata.Circuit) string {
	t := title(strings.ReplaceAll(c.Fluid, "-", " "))
	if c.Specification == "" {
		t += " to the vehicle maker's specification"
	}
	amount := c.Capacity
	if !drains(c) && c.Fluid != "refrigerant" {
		amount = specdata.Quantity{} // topped up
	}
	return w.consumable(specdata.Consumable{ID: clipID(c.ID + "-fresh"), Title: t, Amount: amount, Fluid: c.Fluid, Specification: c.Specification})
}

// fillToLevel fills, with the vehicle level on the ground, what is filled to an
// opening and its level read there.
func (w *writer) fillToLevel() {
	for _, c := range w.circuits() {
		if c.Fluid == "air" {
			continue
		}
		w.filled = append(w.filled, c)
		b := &words{w: w}
		var plugs []*specdata.Fastener
		ts := slices.Concat(c.Level, c.Fill)
		opened := w.openings(b, slices.Compact(slices.Sorted(slices.Values(ts))), &plugs)
		b.flush()
		target := specdata.Target("circuit:" + c.ID)
		w.step("Fill in fresh "+strings.ReplaceAll(c.Fluid, "-", " ")+" until it stands at the lower edge of the opening.",
			with(op(specdata.Fill, target), w.fresh(c)), accepting(op(specdata.Check, target), "level at the lower edge of the opening, vehicle level"))
		w.settle(c)
		w.shut(b, opened, plugs)
		w.bleed(c)
	}
}

// fillAir runs the engine until the air is back, looks for leaks, and only then lets
// the spring out of its cage.
func (w *writer) fillAir() {
	c := w.air()
	if c == nil {
		return
	}
	w.protect("hearing")
	s := w.step("Run the engine with the gas extraction on until the tanks are full and look for leaks with soap water.",
		op(specdata.RunEngine, "vehicle:whole"), accepting(op(specdata.Check, specdata.Target("circuit:"+c.ID)), "no bubbles and no fall of the gauges"))
	s.Cautions = []specdata.Caution{
		{Signal: "warning", Hazard: "exhaust-gas", Text: "Exhaust gas kills in a closed shop. Keep the extraction on the tail pipe."},
		{Signal: "warning", Hazard: "moving-parts", Text: "Keep clear of belts and fan while the engine runs."},
	}
	w.last = slices.DeleteFunc(w.last, func(o specdata.Step) bool {
		if o.Text == leakText {
			s.Operations = append(s.Operations, o.Operations...)
		}
		return o.Text == leakText
	})
	if c.Bleed {
		w.step("Open the drain valve of each tank until dry air comes.", op(specdata.Bleed, specdata.Target("circuit:"+c.ID)))
	}
	w.clearAids(nil, cage)
	w.measureLimits(false)
}

// plug returns the fastener of an opening, nil if it is another thing, not in the
// library or not for what the draft is for.
func (w *writer) plug(t specdata.Target) *specdata.Fastener {
	if typ, id := t.Split(); typ == "fastener" {
		if f := library.Fastener(w.library, id); f != nil && applies(f.AppliesTo, w.clauses) {
			return f
		}
	}
	return nil
}

// titleOf returns the title of a clip or part of the assembly.
func (w *writer) titleOf(t specdata.Target) string {
	_, id := t.Split()
	if p := w.partOf(t); p != nil {
		return p.Title
	}
	if c := find(w.assembly.Clips, id, func(c *specdata.Clip) string { return c.ID }); c != nil {
		return c.Title
	}
	return id
}

// checkCircuits looks at the circuits that the job opened: for leaks, and at the level
// of those that have one to read and were not filled to it.
func (w *writer) checkCircuits() {
	if len(w.filled) == 0 {
		return
	}
	var levels []string
	var ops []specdata.Operation
	fuel := false
	for _, c := range w.filled {
		criterion := "dry at everything that was opened"
		if c.Fluid != "fuel" && c.Fluid != "refrigerant" && len(c.Level) == 0 {
			levels = append(levels, the(c.Title))
			criterion = "level right, dry at everything that was opened"
		}
		fuel = fuel || c.Fluid == "fuel"
		ops = append(ops, accepting(op(specdata.Check, specdata.Target("circuit:"+c.ID)), criterion))
	}
	// What a fastener asks for besides is looked at in the same round.
	w.last = slices.DeleteFunc(w.last, func(s specdata.Step) bool {
		if s.Text != leakText && s.Text != levelText {
			return false
		}
		read := s.Text == levelText && slices.ContainsFunc(w.filled, func(c *specdata.Circuit) bool { return len(c.Level) > 0 })
		if !read && !slices.ContainsFunc(ops, func(o specdata.Operation) bool { return o.Target == s.Operations[0].Target }) && len(ops) < 4 {
			ops = append(ops, s.Operations...)
		}
		return true
	})
	text := "Look for leaks at everything that was opened."
	if len(levels) > 0 {
		text = "Check the level of " + and(levels) + " and look for leaks at everything that was opened."
	}
	if fuel {
		text = "Switch the ignition on so that the fuel pump builds its pressure. " + text
	}
	w.step(text, ops...)
}

// bleeds returns what is bled when a circuit is: "brakes" for brake fluid.
func bleeds(c *specdata.Circuit) string {
	switch c.Fluid {
	case "brake-fluid":
		return "brakes"
	case "coolant":
		return "cooling system"
	}
	return specdata.InSentence(c.Title)
}
