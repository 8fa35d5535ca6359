package draft

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// refit goes the order back: each thing, then the fasteners that hold it, then the
// pins and holders of it away.
func (w *writer) refit() {
	b := &words{w: w}
	for _, f := range w.plugs {
		w.start(b, f)
		b.flush()
		w.finalLater(f)
	}
	acts := slices.Clone(w.acts)
	slices.Reverse(acts)
	for i := 0; i < len(acts); i++ {
		u := acts[i]
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
		if p := w.partOf(u.Target); p != nil {
			w.clearAids(p, tensioner) // first, so that a chain or belt is tight when it is turned
			w.clearAids(p, locking)
		}
	}
	w.clearAids(nil, tensioner)
	w.clearAids(nil, locking)
	w.beforeWheel()
}

func (w *writer) putOn(b *words, u Undo) {
	typ, _ := u.Target.Split()
	switch typ {
	case "clip":
		b.add("close "+the(u.Title), op(specdata.ClipVerb, u.Target))
	case "connection":
		c := w.connectionOf(u.Target)
		if circuit := w.circuit(c.Circuit); circuit != nil && !drains(circuit) {
			b.add("take the caps off", op(specdata.Uncap, u.Target))
		}
		how := ""
		if c.Kind == "plug" {
			how = " until it clicks"
		}
		b.of(the(u.Title), them(u.Title), "connect %s"+how, op(specdata.Connect, u.Target))
	case "joint":
		j := w.jointOf(u.Target)
		switch {
		case closesItself(j):
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
func closesItself(j *specdata.Joint) bool { return j.Kind == "slide" || j.Kind == "spline" }

func (w *writer) fitPart(b *words, u Undo) {
	p := w.partOf(u.Target)
	if p.Wheel {
		w.beforeWheel()
		b.add("clean the wheel and hub faces", op(specdata.Clean, "place:wheel-and-hub-faces"))
	}
	name, short := the(u.Title), them(u.Title)
	if p.HangsOn != "" {
		b.of(name, short, "unhook %s", op(specdata.Unhang, u.Target))
	}
	if p.Friction && p.Renew && says(p.Title, "pad") {
		b.add("push the caliper piston back slowly and watch the level in the reservoir", op(specdata.Retract, "place:caliper-piston"))
		b.flush()
	}
	fit := op(specdata.Fit, u.Target)
	if p.Renew {
		fit.New, short = true, fresh(u.Title)
		w.procedure.Parts = append(w.procedure.Parts, specdata.NewPart{Part: p.ID, Title: p.Title, Quantity: 1})
	}
	if isBelt(p) {
		w.layBelt(b, p, fit)
		return
	}
	if !p.Renew {
		b.of(name, short, "fit %s"+helped(p), fit)
		return
	}
	if w.laidLoose(p, w.acts) && p != w.part || isSeal(p) {
		b.add("clean both faces", op(specdata.Clean, specdata.Target("place:"+clipID(p.ID+"-faces"))))
	}
	if p.Friction && says(p.Title, "disc", "drum") {
		b.add("clean the protective film off "+fresh(u.Title), op(specdata.Clean, specdata.Target("place:"+clipID(p.ID+"-film"))))
		b.add("fit it"+helped(p), fit)
	} else {
		b.add("fit "+fresh(u.Title)+helped(p), fit)
	}
	b.said = name
}

// layBelt puts a belt on: the way it ran where it is the old one, its tensioner back
// where no pin holds that.
func (w *writer) layBelt(b *words, p *specdata.Part, fit specdata.Operation) {
	name, how := fresh(p.Title), "in every groove"
	if !p.Renew {
		name, how = the(p.Title), "the way it ran and in every groove"
	}
	if len(p.Aids) == 0 && len(p.HeldBy) == 0 {
		fit.Tool = "tensioner-bar"
		b.add("slacken the tensioner, fit "+name+" "+how+" and let the tensioner take it up", fit)
		return
	}
	b.add("fit "+name+" "+how, fit)
}

// isSeal reports whether a part seals a face.
func isSeal(p *specdata.Part) bool {
	return len(p.Seals) > 0 || says(p.Title, "gasket", "seal", "o ring", "sealing ring")
}

// applied are the surface conditions for which something is put on the thread, with
// what it is called where the record names no product.
var applied = map[string]string{"oiled": "engine oil", "greased": "grease", "threadlock": "thread-locking compound", "compound": "assembly compound"}

// start runs a fastener in by hand, its surface made as the record says.
func (w *writer) start(b *words, f *specdata.Fastener) {
	where := w.where(f)
	b.only(where)
	name, short := "the "+named(f), itOrThem(f)
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
		o := with(op(specdata.Apply, target(f)), id)
		o.Note = s.Cleaning
		b.add("apply "+product+" to "+on+" of "+name, o)
	}
	switch {
	case w.waits(f) == nil:
	case w.holdsWheel(f.ID):
		b.room("", 2)
	default:
		b.room("", 3)
	}
	o := op(specdata.Start, target(f))
	called, after := name, ""
	small := pieces(f)
	switch {
	case renewed(f) && len(small) == 0:
		called = anew(f)
		w.procedure.Parts = append(w.procedure.Parts, specdata.NewPart{Fastener: f.ID, Title: optioned(f.Title, where), Quantity: max(f.Count, 1)})
	case renewed(f) && f.Count > 1:
		after = " with new " + plural(and(small))
	case renewed(f):
		after = " with a new " + and(small)
	}
	if len(small) > 0 {
		w.procedure.Parts = append(w.procedure.Parts, specdata.NewPart{Fastener: f.ID, Title: optioned(title(and(small))+" of the "+named(f), where), Quantity: max(f.Count, 1) * len(small)})
	}
	o.New = renewed(f)
	way := ""
	if f.Fitting != nil {
		var says []string
		for _, s := range []string{f.Fitting.Direction, f.Fitting.Washers, f.Fitting.Spacer} {
			if s != "" {
				says = append(says, s)
			}
		}
		if len(says) > 0 {
			way = " (" + strings.Join(says, "; ") + ")"
		}
	}
	b.add("start "+called+" by hand"+after+way+leftHand(f, false), o)
	b.said = name
	if w.waits(f) != nil {
		snug := op(specdata.Snug, target(f))
		if w.holdsWheel(f.ID) {
			b.of(name, short, "run %s down"+patternOf(f)+" until the wheel is seated", snug)
		} else {
			deferred := op(specdata.Defer, target(f))
			deferred.Until = f.Tightening.State
			b.of(name, short, "leave %s snug for now", snug, deferred)
		}
	}
	if where != nil {
		b.flush()
		b.only(nil)
	}
}

// waits returns the list of tightenings that a fastener's final one belongs to, nil
// where it is tightened at once.
func (w *writer) waits(f *specdata.Fastener) *[]specdata.Step {
	if !w.raised() || w.down {
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
// springs let out, tightening at ride height, filling, what wants the end in the air.
func (w *writer) beforeWheel() {
	w.clearAids(nil, compressor)
	if w.air() == nil {
		w.clearAids(nil, cage)
	}
	if len(w.loaded) > 0 {
		t := specdata.Target("suspension:" + w.assembly.End)
		i := slices.IndexFunc(w.inPlace, func(a aid) bool { return a.sort == prop })
		jack := ""
		if i < 0 {
			jack = w.tool(specdata.Tool{ID: "suspension-jack", Title: "Suspension jack", Kind: "jack"})
		} else {
			jack = w.inPlace[i].id
		}
		s := w.step("Jack the suspension until the ride height is what was written down.", using(op(specdata.LoadSuspension, t), jack))
		s.Cautions = []specdata.Caution{{Signal: "warning", Hazard: "crushing", Text: "The jack under the suspension can lift the body off its stands. Watch both stands and stop at once if one comes free."}}
		w.procedure.Steps = append(w.procedure.Steps, w.loaded...)
		away := op(specdata.UnloadSuspension, t)
		if i < 0 {
			w.step("Let the jack under the suspension down and take it away.", using(away, jack))
		} else {
			w.step("Let the jack under the suspension down and take it away.", using(away, jack), op(specdata.ClearAid, specdata.Target("aid:"+w.inPlace[i].id)))
			w.inPlace = slices.Delete(w.inPlace, i, i+1)
		}
		w.loaded = nil
	}
	w.clearAids(nil, prop)
	w.procedure.Steps = append(w.procedure.Steps, inOrder(w.spun)...)
	w.spun = nil
	w.fillCircuits()
	if w.air() == nil {
		w.measureLimits(false)
	}
}

// final returns the steps of a fastener's final tightening and its lock.
func (w *writer) final(f *specdata.Fastener) []specdata.Step {
	var steps []specdata.Step
	name, n := "the "+named(f), len(f.Tightening.Stages)
	more := leftHand(f, false)
	if f.Tightening.State == specdata.StateOnGround && w.raised() {
		more += " with the wheels on the ground"
	}
	more += roundsOf(f)
	if hold := holding(f, "holding"); hold != "" {
		more += ", " + hold
	}
	more += "."
	if n == 1 {
		o := with(op(specdata.Tighten, target(f)), w.held(f))
		o.Tool = w.wrench(f, f.Tightening.Stages[0])
		steps = append(steps, newStep("Tighten "+name+patternOf(f)+" to "+specdata.WholeSeries(f.ID)+more, o))
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
	for i := range steps {
		forOptions(&steps[i], w.where(f))
	}
	w.follow(f)
	return steps
}

func (w *writer) stage(f *specdata.Fastener, st specdata.Stage, i int, more string) specdata.Step {
	name, value := "the "+named(f), specdata.OneStage(f.ID, i+1)
	verb, text := specdata.StageVerb, ""
	switch {
	case !st.Angle.IsZero():
		verb, text = specdata.Turn, "Turn "+name+patternOf(f)+" a further "+value
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
		text = "Tighten " + name + patternOf(f) + " to " + value
	}
	o := with(op(verb, target(f)), w.held(f))
	o.Stage, o.Tool = i+1, w.wrench(f, st)
	return newStep(text+more, o)
}
