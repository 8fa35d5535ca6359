package draft

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

func (w *writer) finish() {
	if w.raised() {
		w.step("Lower the "+w.assembly.End+" to the ground.", using(op(specdata.Lower, w.endTarget()), "jack"))
	}
	for _, s := range w.grounded {
		w.procedure.Steps = append(w.procedure.Steps, w.onBoth(s))
	}
	w.fillToLevel()
	for _, e := range w.electrics() {
		w.restore(e)
	}
	if w.isBrake() {
		w.step("Pump the brake pedal until it is firm before the vehicle moves.", accepting(op(specdata.Pump, "place:brake-pedal"), "firm pedal"))
	}
	w.checkCircuits()
	if w.plugs() {
		w.last = append(w.last, newStep(lampText, accepting(op(specdata.Check, "place:warning-lamps"), "all out after the self-test")))
	}
	if w.raised() && w.safety("steering", "suspension") {
		w.last = append(w.last, newStep("Turn the steering from lock to lock and look along every hose and lead to see that none pulls tight, twists or touches.",
			accepting(op(specdata.Check, "place:full-travel"), "nothing tight, twisted or touching from lock to lock and through the full travel of the suspension")))
	}
	if w.raised() {
		w.last = append(w.last, newStep("Take the chocks away.", op(specdata.Release, "vehicle:whole")))
	}
	if w.safety("brake", "steering", "suspension", "wheel") {
		w.last = append(w.last, newStep("Drive a short test on a clear road.", accepting(op(specdata.RoadTest, "vehicle:whole"), "no noise, no pull, firm pedal, steering wheel straight")))
	}
	for _, s := range inOrder(w.last) {
		w.procedure.Steps = append(w.procedure.Steps, w.onBoth(s))
	}
	w.step("Record the torques reached, the wrench numbers and the parts that were renewed.", op(specdata.RecordJob, "job:record"))
	w.number()
}

func (w *writer) restore(system string) {
	t := specdata.Target("electrics:" + system)
	if system != "battery" {
		w.step("Have the "+strings.ReplaceAll(system, "-", " ")+" system brought back as the vehicle maker says.", op(specdata.Restore, t))
		return
	}
	w.step("Connect the battery, negative lead last.", op(specdata.Restore, t))
	w.last = append(w.last, newStep("Set the clock and initialise the windows and what else forgets without power.", op(specdata.Relearn, "place:clock-and-windows")))
}

// safety reports whether a fastener of the job is a safety joint of one of the kinds.
func (w *writer) safety(kinds ...string) bool {
	return slices.ContainsFunc(w.fasteners(), func(f *specdata.Fastener) bool { return slices.Contains(kinds, f.Safety) })
}

// inOrder drops checks that stand twice and puts checks on the stand before the road
// test and advice behind it.
func inOrder(steps []specdata.Step) []specdata.Step {
	seen := map[string]bool{}
	out := slices.DeleteFunc(slices.Clone(steps), func(s specdata.Step) bool {
		twice := seen[s.Text]
		seen[s.Text] = true
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
		if len(c.Level) > 0 {
			continue // with the vehicle level, later
		}
		w.opened[c.ID] = false // done
		w.filled = append(w.filled, c)
		t := specdata.Target("circuit:" + c.ID)
		if w.drains(c) {
			fluid := w.fresh(c)
			w.step("Fill in "+fluidOf(c)+".", with(op(specdata.Fill, t), fluid))
		}
		if c.Bleed {
			o := op(specdata.Bleed, t)
			if c.Fluid == "brake-fluid" {
				o.With = w.consumable(specdata.Consumable{ID: "brake-fluid", Title: "Brake fluid to the vehicle maker's specification"})
			}
			w.step("Bleed the "+bleeds(c)+" in the vehicle maker's order until no bubbles come, keeping the reservoir topped up.", o)
		}
	}
}

// fluidOf returns what a circuit is filled with, in words.
func fluidOf(c *specdata.Circuit) string {
	name := "fresh " + strings.ReplaceAll(c.Fluid, "-", " ")
	if c.Specification != "" {
		return name + " of the grade that its record gives, as much as it holds"
	}
	return name + " of the kind and the amount that the vehicle maker names"
}

// fresh lists the fluid of a circuit and returns its id.
func (w *writer) fresh(c *specdata.Circuit) string {
	t := title(strings.ReplaceAll(c.Fluid, "-", " "))
	if c.Specification == "" {
		t += " to the vehicle maker's specification"
	}
	return w.consumable(specdata.Consumable{ID: c.ID + "-fresh", Title: t, Amount: c.Capacity, Fluid: c.Fluid, Specification: c.Specification})
}

// fillToLevel fills, with the vehicle level on the ground, what is filled to an
// opening and its level read there.
func (w *writer) fillToLevel() {
	for _, c := range w.circuits() {
		w.filled = append(w.filled, c)
		b := &words{w: w}
		var plugs []*specdata.Fastener
		for _, t := range c.Level {
			if f := w.plug(t); f != nil {
				plugs = append(plugs, f)
				w.takeOut(b, f)
			} else if typ, _ := t.Split(); typ == "clip" {
				b.add("open "+the(w.titleOf(t)), op(specdata.Unclip, t))
			}
		}
		target := specdata.Target("circuit:" + c.ID)
		b.add("fill in "+fluidOf(c)+", to the level of the opening", with(op(specdata.Fill, target), w.fresh(c)), accepting(op(specdata.Check, target), "level at the lower edge of the opening, vehicle level"))
		b.flush()
		for _, t := range c.Level {
			if typ, _ := t.Split(); typ == "clip" {
				b.add("close "+the(w.titleOf(t)), op(specdata.ClipVerb, t))
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
}

// plug returns the fastener of an opening, nil if it is another thing or not in the library.
func (w *writer) plug(t specdata.Target) *specdata.Fastener {
	if typ, id := t.Split(); typ == "fastener" {
		return library.Fastener(w.library, id)
	}
	return nil
}

// titleOf returns the title of a clip of the assembly.
func (w *writer) titleOf(t specdata.Target) string {
	_, id := t.Split()
	if c := find(w.assembly.Clips, id, func(c *specdata.Clip) string { return c.ID }); c != nil {
		return c.Title
	}
	return id
}

// checkCircuits looks at the circuits that the job opened.
func (w *writer) checkCircuits() {
	if len(w.filled) == 0 {
		return
	}
	var names []string
	var ops []specdata.Operation
	for _, c := range w.filled {
		names = append(names, "the "+specdata.InSentence(c.Title))
		criterion := "level right, dry at everything that was opened"
		if len(c.Level) > 0 {
			criterion = "dry at everything that was opened" // the level was read when it was filled
		}
		ops = append(ops, accepting(op(specdata.Check, specdata.Target("circuit:"+c.ID)), criterion))
	}
	// What a fastener asks for besides is looked at in the same round.
	w.last = slices.DeleteFunc(w.last, func(s specdata.Step) bool {
		if s.Text == leakText || s.Text == levelText {
			if s.Text == levelText && slices.ContainsFunc(w.filled, func(c *specdata.Circuit) bool { return len(c.Level) > 0 }) {
				return true
			}
			if !slices.ContainsFunc(ops, func(o specdata.Operation) bool { return o.Target == s.Operations[0].Target }) && len(ops) < maxOps {
				ops = append(ops, s.Operations...)
			}
			return true
		}
		return false
	})
	w.step("Check the level of "+strings.Join(names, " and ")+" and look for leaks at everything that was opened.", ops...)
}

// plugs reports whether the job undoes a plug or takes the power away, so that the
// warning lamps have something to say.
func (w *writer) plugs() bool {
	return len(w.electrics()) > 0 || slices.ContainsFunc(w.order.Acts, func(u Undo) bool {
		c := w.connectionOf(u.Target)
		return c != nil && (c.Kind == "plug" || c.Kind == "cable" && c.Circuit == "" && c.Electrics != "")
	})
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
