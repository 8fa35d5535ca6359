package claim_test

import (
	"slices"
	"testing"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/demo"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
)

// law holds a composed sentence to what it was composed from: it contradicts no act, and
// names each by its act and, where a thing can be named, by its thing.
func law(t *testing.T, w *claim.World, step int, where string) {
	t.Helper()
	text := w.Compose(step)
	if text == "" {
		t.Errorf("%s: nothing is composed", where)
		return
	}
	x := w.Read(text)
	scope := claim.Scope{Acts: w.StepActs(step)}
	for _, k := range w.Judge(x, scope) {
		t.Errorf("%s: %q: says %q and %s", where, text, x.Said(k.From, k.To), k.Data)
	}
	for _, a := range scope.Acts {
		does, named := false, false
		for i := range x.Clauses {
			c := &x.Clauses[i]
			d := slices.Contains(c.Verbs(), a.Op.Do)
			does = does || d
			named = named || c.Mentions(a.Thing)
		}
		unsure := []specdata.Verb{specdata.Retract, specdata.Count, specdata.StopIf, specdata.Defer}
		if !does && !slices.Contains(unsure, a.Op.Do) {
			t.Errorf("%s: %q: does not read back as %s", where, text, a.Op.Do)
		}
		if a.Thing.Fastener != nil && !named && !slices.Contains(unsure, a.Op.Do) {
			t.Errorf("%s: %q: does not name %s", where, text, a.Op.Target)
		}
	}
	if unsaid := w.Unsaid(x, scope.Acts); len(unsaid) > 0 {
		t.Errorf("%s: %q leaves %s unsaid", where, text, unsaid[0].Op.Target)
	}
	exact(t, w, step, where)
}

// Every step of the demo composes and reads back.
func TestComposeDemo(t *testing.T) {
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	for e := range l.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		w := claim.New(p, l, lexicon.Default(), "")
		for i := range p.Steps {
			if len(p.Steps[i].Operations) > 0 || p.Steps[i].Repeat != nil {
				law(t, w, i, p.ID+" "+p.Steps[i].ID)
			}
		}
	}
}

// Every verb of the vocabulary composes and reads back on each thing of its sort.
func TestComposeEveryVerb(t *testing.T) {
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	base := library.Procedure(l, "quill-1-rear-hub-bearing")
	targets := map[specdata.Verb]specdata.Target{
		specdata.Secure: "vehicle:whole", specdata.Raise: "end:rear", specdata.Support: "end:rear", specdata.Lower: "end:rear",
		specdata.LoadSuspension: "suspension:rear", specdata.UnloadSuspension: "suspension:rear", specdata.Isolate: "electrics:battery", specdata.Restore: "electrics:battery",
		specdata.Fit: "part:disc", specdata.Hang: "part:caliper", specdata.Unhang: "part:caliper", specdata.Retract: "part:caliper", specdata.Disconnect: "connection:sensor-plug", specdata.Connect: "connection:sensor-plug",
		specdata.Unclip: "clip:sensor-lead-clip", specdata.ClipVerb: "clip:sensor-lead-clip", specdata.SetAid: "aid:hub-puller", specdata.ClearAid: "aid:hub-puller",
		specdata.RoadTest: "vehicle:whole", specdata.RecordJob: "job:record", specdata.Clean: "place:hub-face", specdata.Apply: "place:hub-face", specdata.Check: "place:hub-face", specdata.Inspect: "place:hub-face",
		specdata.Measure: "place:hub-face", specdata.Pump: "place:brake-pedal", specdata.Align: "end:rear", specdata.Relearn: "place:clock", specdata.Wait: "place:hub-face",
		specdata.Drain: "circuit:oil", specdata.Fill: "circuit:oil", specdata.Bleed: "circuit:oil", specdata.Depressurise: "circuit:oil", specdata.Cap: "connection:pipe", specdata.Uncap: "connection:pipe",
		specdata.Separate: "joint:taper", specdata.Join: "joint:taper", specdata.PressOut: "part:hub", specdata.PressIn: "part:hub",
		specdata.Release: "place:parking-brake", specdata.RunEngine: "vehicle:whole", specdata.Rotate: "part:hub", specdata.LockOff: "electrics:high-voltage", specdata.ProveDead: "electrics:high-voltage", specdata.Calibrate: "place:steering-angle-sensor",
	}
	for _, v := range specdata.Verbs {
		target, known := targets[v]
		if !known {
			target = "fastener:quill-1-wheel-nut"
		}
		p := *base
		p.Steps = []specdata.Step{{ID: "x", Operations: []specdata.Operation{{Do: v, Target: target, Stage: 1}}}}
		law(t, claim.New(&p, l, lexicon.Default(), ""), 0, string(v))
	}
}
