package draft

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

func (w *writer) refit() {
	for _, u := range slices.Backward(w.order.Acts) {
		typ, id := u.Target.Split()
		name := specdata.InSentence(u.Title)
		switch typ {
		case "fastener":
			w.putIn(library.Fastener(w.library, id))
		case "clip":
			w.step("Close "+name+".", op(specdata.ClipVerb, u.Target))
		case "connection":
			w.step("Connect "+name+" and make sure that it is home.", op(specdata.Connect, u.Target))
		case "joint":
			if !w.closesItself(id) {
				w.step("Join "+name+".", op(specdata.Join, u.Target))
			}
		case "part":
			w.fitPart(u, name)
		}
	}
}

// closesItself reports whether a joint is together again once both its parts are
// on: one that slides or is splined. Any other is joined or pressed in.
func (w *writer) closesItself(id string) bool {
	return slices.ContainsFunc(w.assembly.Joints, func(j specdata.Joint) bool {
		return j.ID == id && slices.Contains([]string{"slide", "spline"}, j.Kind)
	})
}

func (w *writer) fitPart(u Undo, name string) {
	p := w.partOf(u.Target)
	var ops []specdata.Operation
	if p.HangsOn != "" {
		ops = append(ops, op(specdata.Unhang, u.Target))
	}
	fit := op(specdata.Fit, u.Target)
	text := "Fit " + name + "."
	if p.Renew {
		fit.New = true
		text = "Fit a new " + name + "."
		w.procedure.Parts = append(w.procedure.Parts, specdata.NewPart{Part: p.ID, Title: p.Title, Quantity: 1})
	}
	w.step(text, append(ops, fit)...)
}

// putIn starts a fastener, and tightens it or leaves it snug for later, as its
// record's vehicle state asks.
func (w *writer) putIn(f *specdata.Fastener) {
	start := op(specdata.Start, target(f))
	name := the(f)
	if f.Reuse.Rule == "replace" || f.Reuse.Rule == "replace-if-loosened" {
		start.New = true
		name = "new " + strings.TrimPrefix(name, "the ")
		w.procedure.Parts = append(w.procedure.Parts, specdata.NewPart{Fastener: f.ID, Title: f.Title, Quantity: max(f.Count, 1)})
	}
	raised := w.raised()
	switch {
	case raised && f.Tightening.State == specdata.StateOnGround:
		w.step("Start "+name+" by hand and run down in pattern until seated.", start, op(specdata.Snug, target(f)))
		w.later = append(w.later, w.final(f)...)
	case raised && (f.Tightening.State == specdata.StateRideHeight || f.Tightening.State == specdata.StateLoaded):
		deferred := op(specdata.Defer, target(f))
		deferred.Until = f.Tightening.State
		w.step("Start "+name+" and leave snug; the final tightening comes with the vehicle on its wheels.", start, op(specdata.Snug, target(f)), deferred)
		steps := w.final(f)
		steps[len(steps)-1].Operations = append(steps[len(steps)-1].Operations, op(specdata.Resolve, target(f)))
		w.later = append(w.later, steps...)
	default:
		w.step("Start "+name+" by hand.", start)
		w.procedure.Steps = append(w.procedure.Steps, w.final(f)...)
	}
}

// final gives the steps of a fastener's final tightening and its lock.
func (w *writer) final(f *specdata.Fastener) []specdata.Step {
	var steps []specdata.Step
	words := specdata.WholeSeries(f.ID)
	hold := ""
	if h := f.Tightening.Hold; h != nil {
		hold = ", holding the " + h.Turns + " with " + h.With
	}
	pattern := ""
	if p := f.Tightening.Pattern; p != nil && p.Order != "one" {
		pattern = " in " + strings.ReplaceAll(p.Order, "-", " ") + " order"
	}
	if len(f.Tightening.Stages) == 1 {
		o := op(specdata.Tighten, target(f))
		o.Tool = w.wrench(f.Tightening.Stages[0])
		steps = append(steps, newStep("Tighten "+the(f)+" to "+words+pattern+hold+".", o))
	} else {
		for i, st := range f.Tightening.Stages {
			v := specdata.StageVerb
			text := fmt.Sprintf("Tighten %s to %s, stage %d of %d%s%s.", the(f), specdata.OneStage(f.ID, i+1), i+1, len(f.Tightening.Stages), pattern, hold)
			if !st.Angle.IsZero() {
				v = specdata.Turn
				text = fmt.Sprintf("Turn %s by %s, stage %d of %d%s%s.", the(f), specdata.OneStage(f.ID, i+1), i+1, len(f.Tightening.Stages), pattern, hold)
			}
			o := op(v, target(f))
			o.Stage = i + 1
			o.Tool = w.wrench(st)
			steps = append(steps, newStep(text, o))
		}
	}
	if f.Lock != nil && slices.Contains([]string{"pin", "stake", "tab", "wire"}, f.Lock.By) {
		last := &steps[len(steps)-1]
		last.Text = strings.TrimSuffix(last.Text, ".") + ", then lock it with its " + f.Lock.By + "."
		last.Operations = append(last.Operations, op(specdata.LockVerb, target(f)))
	}
	w.follow(f)
	return steps
}

// follow adds what a record owes after it is made.
func (w *writer) follow(f *specdata.Fastener) {
	check := func(t specdata.Target, text, accept string) {
		o := op(specdata.Check, t)
		o.Accept = accept
		w.last = append(w.last, newStep(text, o))
	}
	for _, u := range f.FollowUps {
		switch u.Check {
		case "turns-freely", "end-float":
			check(target(f), "Check that what "+the(f)+" holds turns freely and without play.", "turns freely, no roughness, play as the vehicle maker states")
		case "leak":
			check("place:leaks", "Check for leaks.", "dry")
		case "level":
			check("place:level", "Check the level.", "between the marks")
		case "warning-lamp":
			check("place:warning-lamps", "Check that the warning lamps go out.", "out after the self-test")
		case "relearn":
			w.last = append(w.last, newStep("Have the control unit relearn its zero.", op(specdata.Relearn, "electrics:battery")))
		case "alignment":
			w.last = append(w.last, newStep("Have the geometry checked and set.", op(specdata.Align, specdata.Target("end:"+w.assembly.End))))
		case "recheck-torque":
			after := "after the first drive"
			if !u.After.IsZero() {
				after = "after " + specdata.Display(u.After)
			}
			w.last = append(w.last, newStep("Advise the keeper to have "+the(f)+" rechecked "+after+".", op(specdata.Advise, target(f))))
		}
	}
}

// The torque wrenches a shop has, by common practice, no source.
var wrenches = []struct {
	id, square, from, to string
}{
	{"wrench-2-10", "1/4 in", "2 N.m", "10 N.m"},
	{"wrench-8-60", "3/8 in", "8 N.m", "60 N.m"},
	{"wrench-40-210", "1/2 in", "40 N.m", "210 N.m"},
	{"wrench-140-760", "3/4 in", "140 N.m", "760 N.m"},
}

// wrench gives the id of the smallest torque wrench that reaches a stage, and
// lists it among the tools. An angle needs the angle gauge.
func (w *writer) wrench(st specdata.Stage) string {
	if !st.Angle.IsZero() {
		w.tool(specdata.Tool{ID: "angle-gauge", Title: "Angle gauge", Kind: "angle-gauge", Quantity: 1})
		return "angle-gauge"
	}
	if st.Torque.IsZero() {
		return ""
	}
	t := st.Torque.SI()
	for _, k := range wrenches {
		from, to := specdata.MustQuantity(k.from), specdata.MustQuantity(k.to)
		if t >= from.SI() && t <= to.SI() {
			w.tool(specdata.Tool{ID: k.id, Title: "Torque wrench " + from.Number() + " to " + specdata.Display(to), Kind: "torque-wrench", From: from, To: to, Square: specdata.MustQuantity(k.square), Quantity: 1})
			return k.id
		}
	}
	w.missing = append(w.missing, "no torque wrench of the usual set reaches "+specdata.Metric(st.Torque)+"; name one")
	return ""
}

func (w *writer) tool(t specdata.Tool) {
	if !w.seenTools[t.ID] {
		w.seenTools[t.ID] = true
		w.procedure.Tools = append(w.procedure.Tools, t)
	}
}

func (w *writer) finish() {
	w.circuits()
	if w.raised() {
		w.step("Lower the "+w.assembly.End+" end.", op(specdata.Lower, specdata.Target("end:"+w.assembly.End)))
	}
	w.procedure.Steps = append(w.procedure.Steps, w.later...)
	for _, e := range w.electrics() {
		w.step("Restore the "+strings.ReplaceAll(e, "-", " ")+".", op(specdata.Restore, specdata.Target("electrics:"+e)))
	}
	w.procedure.Steps = append(w.procedure.Steps, compact(w.last)...)
	w.step("Record the job: values reached, wrench numbers, parts renewed.", op(specdata.RecordJob, "job"))
	w.drives()
	for i := range w.procedure.Steps {
		w.procedure.Steps[i].ID = "s" + strconv.Itoa(i+1)
	}
}

// compact drops a check that stands twice.
func compact(steps []specdata.Step) []specdata.Step {
	seen := map[string]bool{}
	var out []specdata.Step
	for _, s := range steps {
		if !seen[s.Text] {
			seen[s.Text] = true
			out = append(out, s)
		}
	}
	return out
}

// circuits bleeds and checks every circuit that was opened.
func (w *writer) circuits() {
	seen := map[string]bool{}
	for _, u := range w.order.Acts {
		c := w.connectionOf(u.Target)
		if typ, _ := u.Target.Split(); typ != "connection" || c == nil || seen[c.Circuit] {
			continue
		}
		circuit := w.circuit(c.Circuit)
		if circuit == nil {
			continue
		}
		seen[c.Circuit] = true
		t := specdata.Target("circuit:" + circuit.ID)
		if circuit.Bleed {
			w.step("Top up and bleed the "+specdata.InSentence(circuit.Title)+".", op(specdata.Bleed, t))
		}
		o := op(specdata.Check, t)
		o.Accept = "dry at every connection that was undone, level between the marks"
		w.step("Check the "+specdata.InSentence(circuit.Title)+" for leaks and level.", o)
	}
}

// drives lists the sockets, bits and holding tools of the fasteners of the job.
func (w *writer) drives() {
	for _, f := range w.fasteners() {
		for _, d := range []string{f.Drive.Head, f.Drive.Nut} {
			if d == "" {
				continue
			}
			kind := "socket"
			switch {
			case strings.HasPrefix(d, "hexalobular"), strings.HasPrefix(d, "cross"), strings.HasPrefix(d, "slot"):
				kind = "bit"
			case strings.HasPrefix(d, "hex-key"):
				kind = "hex-key"
			case strings.HasPrefix(d, "flats"):
				kind = "spanner"
			}
			w.tool(specdata.Tool{ID: strings.Trim(strings.Map(kebab, kind+" "+d), "-"), Title: title(kind) + " for " + d, Kind: kind, Size: d, Quantity: 1})
		}
	}
}

func kebab(r rune) rune {
	switch {
	case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
		return r
	case r >= 'A' && r <= 'Z':
		return r - 'A' + 'a'
	}
	return '-'
}
