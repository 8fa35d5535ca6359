package draft

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// refit goes the order back: each thing, then the fasteners that hold it.
func (w *writer) refit() {
	acts := slices.Clone(w.order.Acts)
	slices.Reverse(acts)
	for i := 0; i < len(acts); i++ {
		u := acts[i]
		b := &words{w: w}
		var fs []*specdata.Fastener
		if typ, id := u.Target.Split(); typ == "fastener" {
			fs = append(fs, library.Fastener(w.library, id))
		} else {
			w.putOn(b, u)
		}
		for i+1 < len(acts) {
			typ, id := acts[i+1].Target.Split()
			if typ != "fastener" {
				break
			}
			fs = append(fs, library.Fastener(w.library, id))
			i++
		}
		slices.Reverse(fs)
		for _, f := range fs {
			w.start(b, f)
		}
		b.flush()
		for _, f := range fs {
			w.finalLater(f)
		}
	}
	w.beforeWheel()
}

func (w *writer) putOn(b *words, u Undo) {
	typ, _ := u.Target.Split()
	switch typ {
	case "clip":
		b.add("close "+the(u.Title), op(specdata.ClipVerb, u.Target))
	case "connection":
		c := w.connectionOf(u.Target)
		if circuit := w.circuit(c.Circuit); circuit != nil && !w.drains(circuit) {
			b.add("take the caps off", op(specdata.Uncap, u.Target))
		}
		how := ""
		if c.Kind == "plug" {
			how = " until it clicks"
		}
		b.add("connect "+the(u.Title)+how, op(specdata.Connect, u.Target))
	case "joint":
		j := w.jointOf(u.Target)
		switch {
		case w.closesItself(j):
		case j.Kind == "press":
			o := op(specdata.PressIn, u.Target)
			if j.Aid != "" {
				o.Tool = w.aid(j)
			}
			b.add("press "+the(u.Title)+" home", o)
		default:
			b.add("join "+the(u.Title), op(specdata.Join, u.Target))
		}
	case "part":
		w.fitPart(b, u)
	}
}

// closesItself reports whether a joint is together again once both its parts are
// on: one that slides or is splined. Any other is joined or pressed in.
func (w *writer) closesItself(j *specdata.Joint) bool { return j.Kind == "slide" || j.Kind == "spline" }

func (w *writer) fitPart(b *words, u Undo) {
	p := w.partOf(u.Target)
	if p.Wheel {
		w.beforeWheel()
		b.add("clean the wheel and hub faces", op(specdata.Clean, "place:wheel-and-hub-faces"))
	}
	name := the(u.Title)
	if p.HangsOn != "" {
		b.add("unhook "+name, op(specdata.Unhang, u.Target))
		name = them(u.Title)
	}
	if p.Friction && p.Renew && specdata.HasWord(p.Title, "pad") {
		b.add("push the caliper piston back, watching the level in the reservoir", op(specdata.Retract, "place:caliper-piston"))
	}
	fit := op(specdata.Fit, u.Target)
	if !p.Renew {
		b.add("fit "+name+helped(p), fit)
		return
	}
	fit.New = true
	w.procedure.Parts = append(w.procedure.Parts, specdata.NewPart{Part: p.ID, Title: p.Title, Quantity: 1})
	b.add("fit "+fresh(u.Title)+helped(p), fit)
}

// applied are the surface conditions for which something is put on the thread, with
// what it is called where the record names no product.
var applied = map[string]string{"oiled": "engine oil", "greased": "grease", "threadlock": "thread-locking compound", "compound": "assembly compound"}

// start runs a fastener in by hand, its surface made as the record says.
func (w *writer) start(b *words, f *specdata.Fastener) {
	if s := f.Surface; s != nil && applied[s.Condition] != "" {
		product := s.Product
		if product == "" {
			product = applied[s.Condition]
		}
		id := w.consumable(specdata.Consumable{ID: clipID(kebab(product)), Title: title(product)})
		on := "the thread and seat"
		if s.On == "thread" || s.On == "seat" {
			on = "the " + s.On
		}
		b.add("apply "+product+" to "+on+" of the "+named(f), with(op(specdata.Apply, target(f)), id))
	}
	o := op(specdata.Start, target(f))
	name := "the " + named(f)
	if renewed(f) {
		o.New = true
		name = anew(f)
		w.procedure.Parts = append(w.procedure.Parts, specdata.NewPart{Fastener: f.ID, Title: f.Title, Quantity: max(f.Count, 1)})
	}
	way := ""
	if f.Fitting != nil && f.Fitting.Direction != "" {
		way = " (" + f.Fitting.Direction + ")"
	}
	b.add("start "+name+" by hand"+way+leftHand(f, false), o)
	if w.waits(f) != nil {
		snug := op(specdata.Snug, target(f))
		if w.holdsWheel(f.ID) {
			b.add("run "+itOrThem(f)+" down"+patternOf(f)+" until the wheel is seated", snug)
			return
		}
		deferred := op(specdata.Defer, target(f))
		deferred.Until = f.Tightening.State
		b.add("leave "+itOrThem(f)+" snug for now", snug, deferred)
	}
}

// waits returns the list of tightenings that a fastener's final one belongs to, nil
// where it is tightened at once.
func (w *writer) waits(f *specdata.Fastener) *[]specdata.Step {
	if !w.raised() {
		return nil
	}
	switch f.Tightening.State {
	case specdata.StateOnGround, specdata.StateLoaded:
		return &w.grounded
	case specdata.StateRideHeight:
		return &w.loaded
	}
	return nil
}

// finalLater tightens a fastener now or puts its tightening on the list it waits on.
func (w *writer) finalLater(f *specdata.Fastener) {
	steps := w.final(f)
	list := w.waits(f)
	if list == nil {
		list = &w.procedure.Steps
	} else if !w.holdsWheel(f.ID) {
		last := &steps[len(steps)-1]
		last.Operations = append(last.Operations, op(specdata.Resolve, target(f)))
	}
	*list = append(*list, steps...)
}

// beforeWheel does, once, what is done with the wheel off and everything else on:
// tightening at ride height and bleeding.
func (w *writer) beforeWheel() {
	if len(w.loaded) > 0 {
		t := specdata.Target("suspension:" + w.assembly.End)
		jack := w.tool(specdata.Tool{ID: "suspension-jack", Title: "Jack for the suspension, rated for the vehicle", Kind: "jack"})
		s := w.step("Jack the suspension until the ride height is what was written down.", using(op(specdata.LoadSuspension, t), jack))
		s.Cautions = []specdata.Caution{{Signal: "warning", Hazard: "crushing", Text: "The jack under the suspension can lift the body off its stands. Watch both stands and stop at once if one comes free."}}
		w.procedure.Steps = append(w.procedure.Steps, w.loaded...)
		w.step("Let the jack under the suspension down and take it away.", using(op(specdata.UnloadSuspension, t), jack))
		w.loaded = nil
	}
	w.fillCircuits()
}

// final returns the steps of a fastener's final tightening and its lock.
func (w *writer) final(f *specdata.Fastener) []specdata.Step {
	var steps []specdata.Step
	name, n := "the "+named(f), len(f.Tightening.Stages)
	ground := ""
	if f.Tightening.State == specdata.StateOnGround && w.raised() {
		ground = " with the wheels on the ground"
	}
	more := patternOf(f) + leftHand(f, false) + ground + "."
	if hold := holding(f, "holding"); hold != "" {
		more = strings.TrimSuffix(more, ".") + ", " + hold + "."
	}
	if n == 1 {
		o := with(op(specdata.Tighten, target(f)), w.held(f))
		o.Tool = w.wrench(f, f.Tightening.Stages[0])
		steps = append(steps, newStep("Tighten "+name+" to "+specdata.WholeSeries(f.ID)+more, o))
	} else {
		for i, st := range f.Tightening.Stages {
			steps = append(steps, w.stage(f, st, i, more))
		}
	}
	if _, set, ok := lockOf(f); ok {
		last := &steps[len(steps)-1]
		last.Text = strings.TrimSuffix(last.Text, ".") + " and " + set + " " + itOrThem(f) + "."
		last.Operations = append(last.Operations, op(specdata.LockVerb, target(f)))
	}
	if w.holdsWheel(f.ID) {
		steps[0].Cautions = []specdata.Caution{{Signal: "warning", Hazard: "wheel-loss", Text: "A wheel that is not tightened to its value on the ground can come off. Finish with a torque wrench, never with a power tool."}}
	}
	w.follow(f)
	return steps
}

func (w *writer) stage(f *specdata.Fastener, st specdata.Stage, i int, more string) specdata.Step {
	name, value := "the "+named(f), specdata.OneStage(f.ID, i+1)
	verb, text := specdata.StageVerb, ""
	switch {
	case !st.Angle.IsZero():
		verb, text = specdata.Turn, "Turn "+name+" a further "+value
	case st.Slacken:
		verb, text = specdata.BackOff, "Slacken "+name+" again"
	case !st.Wait.IsZero():
		text = "Wait " + value + " before " + name + " go on"
		if f.Count == 1 {
			text = "Wait " + value + " before " + name + " goes on"
		}
	case st.Seat != "":
		text = "Run " + name + " down until seated"
	default:
		text = "Tighten " + name + " to " + value
	}
	o := with(op(verb, target(f)), w.held(f))
	o.Stage, o.Tool = i+1, w.wrench(f, st)
	return newStep(text+more, o)
}

// follow adds what a record owes after it is made.
func (w *writer) follow(f *specdata.Fastener) {
	check := func(t specdata.Target, text, accept string) {
		w.last = append(w.last, newStep(text, accepting(op(specdata.Check, t), accept)))
	}
	for _, u := range f.FollowUps {
		switch u.Check {
		case "turns-freely", "end-float":
			t, name := target(f), "what the "+named(f)+" holds"
			if p := w.heldPart(f); p != nil {
				t, name = specdata.Target("part:"+p.ID), the(p.Title)
			}
			check(t, "Check that "+name+" turns freely and has the play that the vehicle maker states.", "turns freely without roughness, play within the vehicle maker's limits")
		case "leak":
			check("place:leaks", leakText, "dry")
		case "level":
			check("place:fluid-level", levelText, "between the marks")
		case "warning-lamp":
			check("place:warning-lamps", lampText, "all out after the self-test")
		case "relearn":
			w.last = append(w.last, newStep("Have the control unit relearn its zero with a scan tool.", op(specdata.Relearn, "place:control-unit")))
		case "alignment":
			w.last = append(w.last, newStep("Have the wheel alignment checked and set.", op(specdata.Align, specdata.Target("end:"+w.alignEnd()))))
		case "recheck-torque":
			after := "after the first drive"
			if !u.After.IsZero() {
				after = "after the distance that their record gives"
			}
			w.last = append(w.last, newStep("Advise the customer to have the "+named(f)+" rechecked "+after+".", op(specdata.Advise, target(f))))
		}
	}
}

// The checks that several things can ask for: each is written once.
const (
	leakText  = "Check for leaks at everything that was opened."
	levelText = "Check the fluid level."
	lampText  = "Switch the ignition on and check that the warning lamps go out after the self-test."
)

// heldPart returns the part that a fastener holds, nil if it holds another thing.
func (w *writer) heldPart(f *specdata.Fastener) *specdata.Part {
	for i := range w.assembly.Parts {
		if slices.Contains(w.assembly.Parts[i].HeldBy, f.ID) {
			return &w.assembly.Parts[i]
		}
	}
	return nil
}

func (w *writer) alignEnd() string {
	if w.assembly.End == "" {
		return "front"
	}
	return w.assembly.End
}
