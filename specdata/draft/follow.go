package draft

import (
	"slices"
	"strings"
	"unicode"

	"proofload/specdata"
)

// The checks that several things can ask for: each is written once.
const (
	leakText  = "Check for leaks at everything that was opened."
	levelText = "Check the fluid level."
	lampText  = "Switch the ignition on and check that the warning lamps go out after the self-test."
)

// follow adds what a record owes after it is made.
func (w *writer) follow(f *specdata.Fastener) {
	where := w.where(f)
	owe := func(list *[]specdata.Step, text string, o specdata.Operation) {
		s := newStep(text, o)
		if o.Do == specdata.Advise {
			forOptions(&s, where)
		} else {
			s.Where = where
		}
		*list = append(*list, s)
	}
	for _, u := range f.FollowUps {
		switch u.Check {
		case "turns-freely", "end-float":
			t, name := target(f), "what the "+named(f)+" holds"
			if p := w.heldPart(f); p != nil {
				t, name = specdata.Target("part:"+p.ID), the(p.Title)
			}
			list := &w.spun
			if w.waits(f) != nil {
				list = &w.last
			}
			owe(list, "Turn "+name+" by hand and check that it runs freely and has the play that the vehicle maker states.", accepting(op(specdata.Check, t), "turns freely without roughness, play within the vehicle maker's limits"))
		case "leak":
			owe(&w.last, leakText, accepting(op(specdata.Check, "place:leaks"), "dry"))
		case "level":
			owe(&w.last, levelText, accepting(op(specdata.Check, "place:fluid-level"), "between the marks"))
		case "warning-lamp":
			owe(&w.last, lampText, accepting(op(specdata.Check, "place:warning-lamps"), "all out after the self-test"))
		case "relearn":
			owe(&w.last, "Have the zero of "+w.heldBy(f)+" relearned with the scan tool.", using(op(specdata.Relearn, "place:control-unit"), w.scanTool()))
		case "alignment":
			owe(&w.last, "Have the wheel alignment checked and set.", op(specdata.Align, specdata.Target("end:"+w.alignEnd())))
		case "recheck-torque":
			after := "after the first drive"
			if !u.After.IsZero() {
				after = "after {recheck:" + f.ID + "}"
			}
			owe(&w.last, "Advise the customer to have the "+named(f)+" rechecked "+after+".", op(specdata.Advise, target(f)))
		}
	}
}

func (w *writer) scanTool() string {
	return w.tool(specdata.Tool{ID: "scan-tool", Title: "Scan tool for the vehicle", Kind: "scan-tool"})
}

// calibrate adds the calibrations that the assembly owes for what the job undoes.
func (w *writer) calibrate() {
	for _, o := range w.assembly.Owes {
		if !slices.ContainsFunc(o.After, w.undone) {
			continue
		}
		s := newStep("Have the "+specdata.InSentence(o.Title)+" done as the vehicle maker says.", using(op(specdata.Calibrate, specdata.Target("place:"+o.ID)), w.scanTool()))
		s.Where = o.Where
		w.last = append(w.last, s)
	}
}

// apart are the words of measures that are taken with the thing off, by common
// practice, no source; others are taken when it is back.
var apart = []string{"diameter", "thickness", "depth", "length", "wear"}

// measureLimits measures, once, the limits of the assembly that are about something
// the job undoes: those that are measured on the bench, or the others.
func (w *writer) measureLimits(off bool) {
	for i := range w.assembly.Limits {
		l := &w.assembly.Limits[i]
		if says(l.Title, apart...) != off || slices.Contains(w.measured, l.ID) || !w.concerns(l) {
			continue
		}
		w.measured = append(w.measured, l.ID)
		o := accepting(using(op(specdata.Measure, specdata.Target("place:"+l.ID)), w.gauge(l)), "within the limits, else set it or renew the part")
		o.Low, o.High, o.Limit = l.Low, l.High, l.ID
		w.step("Measure the "+specdata.InSentence(l.Title)+": {limit}.", o)
	}
}

// concerns reports whether a limit shares a word with something that the job undoes:
// "push-rod stroke" with the push-rod clevis.
func (w *writer) concerns(l *specdata.Limit) bool {
	for word := range strings.FieldsFuncSeq(strings.ToLower(l.Title), func(r rune) bool { return !unicode.IsLetter(r) }) {
		if len(word) < 4 {
			continue
		}
		if slices.ContainsFunc(w.acts, func(u Undo) bool {
			typ, _ := u.Target.Split()
			return typ != "fastener" && says(u.Title, word) && !w.wheel(u.Target)
		}) {
			return true
		}
	}
	return false
}

func (w *writer) wheel(t specdata.Target) bool {
	p := w.partOf(t)
	return p != nil && p.Wheel
}

// gauge lists an instrument that is fit for a limit and returns its id.
func (w *writer) gauge(l *specdata.Limit) string {
	of := l.High
	if of.IsZero() {
		of = l.Low
	}
	t := specdata.Tool{ID: "gauge", Title: "Gauge for " + the(l.Title), Kind: "gauge"}
	if of.Dimension() == specdata.Length {
		switch mm := of.SI() * 1000; {
		case mm < 1:
			t = specdata.Tool{ID: "dial-gauge", Title: "Dial gauge on a stand", Kind: "gauge", Resolution: specdata.MustQuantity("0.01 mm")}
		case mm < 60, strings.Contains(of.Number(), "."):
			t = specdata.Tool{ID: "calliper-gauge", Title: "Vernier calliper", Kind: "gauge", Resolution: specdata.MustQuantity("0.1 mm")}
		default:
			t = specdata.Tool{ID: "steel-rule", Title: "Steel rule", Kind: "gauge", Resolution: specdata.MustQuantity("0.5 mm")}
		}
	} else {
		t.ID = clipID("gauge-" + l.ID)
	}
	return w.tool(t)
}

// heldBy names what a fastener holds: "the level-sensor link".
func (w *writer) heldBy(f *specdata.Fastener) string {
	for _, u := range w.acts {
		if w.holds(u.Target, f.ID) {
			return the(u.Title)
		}
	}
	return "what the " + named(f) + " holds"
}

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
