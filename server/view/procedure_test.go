package view_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	pb "proofload/api/proofload/v1"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
)

func demoView(t *testing.T, id string) (*view.View, *pb.Procedure) {
	t.Helper()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	v, err := view.Build(lib.Get(specdata.NewName(specdata.KindProcedure, id)), nil, lib)
	if err != nil {
		t.Fatal(err)
	}
	return v, v.Message.(*pb.Procedure)
}

func stepOf(t *testing.T, p *pb.Procedure, id string) *pb.Step {
	t.Helper()
	i := slices.IndexFunc(p.Steps, func(s *pb.Step) bool { return s.Id == id })
	if i < 0 {
		t.Fatalf("procedure %s has no step %q", p.Id, id)
	}
	return p.Steps[i]
}

// A step of one stage gives the number of that stage, in the sentence and beside it,
// and of no other; everything else that a reader needs stands beside it too.
func TestStepOfOneStage(t *testing.T) {
	_, p := demoView(t, "pell-1-cylinder-head-refit")
	two, three := stepOf(t, p, "head-stage-2"), stepOf(t, p, "head-stage-3")
	if want := "Tighten all ten in the same order to 40 N·m (30 lbf·ft), stage two of four."; two.Reading != want {
		t.Errorf("step of stage 2 reads %q, want %q", two.Reading, want)
	}
	if want := "Turn all ten in the same order by 90°, stage three of four."; three.Reading != want {
		t.Errorf("step of stage 3 reads %q, want %q", three.Reading, want)
	}
	f := two.Fastenings[0]
	for what, c := range map[string]struct{ got, want any }{
		"stages":     {fmt.Sprint(f.StageNumbers), "[2]"},
		"stage text": {f.StageText, "stage 2 of 4"},
		"value":      {f.Value, "40 N·m (30 lbf·ft)"},
		"accept":     {f.Accept, "38 to 42 N·m (29 to 30 lbf·ft), ±5 %"},
		"count":      {f.Count, int32(10)},
		"surface":    {f.Surface.GetCondition(), "oiled"},
		"state":      {f.State, "cold"},
		"socket":     {f.Tools.GetSocket(), "T50 hexalobular bit"},
		"wrench":     {f.SetUpTools[0], "Torque wrench, medium, 10 to 60 N·m (8 to 44 lbf·ft), 3/8 in square"},
		"reuse":      {f.Reuse.GetText(), "single use: fit new every time"},
		"new part":   {f.NewParts[0], "10 × Cylinder-head bolt"},
		"act":        {f.Acts[0], "tighten the cylinder-head bolt (10), stage 2 of 4: 40 N·m (30 lbf·ft), using torque wrench, medium"},
		"pattern":    {f.Pattern.GetOrder(), "sequence"},
	} {
		if c.got != c.want {
			t.Errorf("%s is %v, want %v", what, c.got, c.want)
		}
	}
	if got := three.Fastenings[0]; got.Value != "90°" || got.Accept != "90° ±5°" || !got.Tools.GetAngleGauge() {
		t.Errorf("beside the step of stage 3 stand %q, accept %q, angle gauge %v", got.Value, got.Accept, got.Tools.GetAngleGauge())
	}
}

// Every tightening of every demo job has its value in both unit systems, its tool,
// its condition and its reuse rule beside its step, and a hold where the record asks
// for one.
func TestEveryTighteningStandsBesideItsStep(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for e := range lib.All(specdata.KindProcedure) {
		r := e.Record.(*specdata.Procedure)
		_, p := demoView(t, r.ID)
		for _, o := range dryrun.Run(lib, r).Outcomes {
			for _, u := range o.Torques {
				n++
				s := p.Steps[u.Act.StepIndex]
				i := slices.IndexFunc(s.Fastenings, func(f *pb.Fastening) bool { return f.Fastener == string(u.Fastener.Name()) })
				if i < 0 {
					t.Errorf("%s step %s: %s is tightened and does not stand beside it", r.ID, s.Id, u.Fastener.ID)
					continue
				}
				f := s.Fastenings[i]
				for _, st := range f.Stages {
					if q := st.Torque; q != nil && (q.Metric == "" || q.Imperial == "" || q.Band == nil) {
						t.Errorf("%s step %s: torque of %s lacks a unit system or its band: %v", r.ID, s.Id, u.Fastener.ID, q)
					}
				}
				if !f.Tightened || len(f.StageNumbers) == 0 || f.Value == "" || f.Reuse == nil || f.StateText == "" || f.ImpactText == "" || f.Tools.GetSocket() == "" || f.SourceText == "" {
					t.Errorf("%s step %s: %s lacks something: %v", r.ID, s.Id, u.Fastener.ID, f)
				}
				if (u.Fastener.Tightening.Hold == nil) != (f.Hold == nil) || (u.Fastener.Surface == nil) != (f.Surface == nil) || (u.Fastener.Lock == nil) != (f.Lock == nil) {
					t.Errorf("%s step %s: hold, surface or lock of %s is not shown", r.ID, s.Id, u.Fastener.ID)
				}
			}
		}
	}
	if n < 60 {
		t.Errorf("only %d tightenings were looked at", n)
	}
}

// A reader who asks over the wire and one who holds the printed sheet read the same
// words, in the same order.
func TestWireAndPaperSayTheSame(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	for e := range lib.All(specdata.KindProcedure) {
		r := e.Record.(*specdata.Procedure)
		t.Run(r.ID, func(t *testing.T) {
			_, p := demoView(t, r.ID)
			for _, run := range p.Runs {
				variant := &dryrun.Variant{Vehicle: run.Vehicle}
				for _, o := range run.Options {
					variant.Options = append(variant.Options, dryrun.Option{Key: o.Key, Value: o.Values[0]})
				}
				request := sheet.Request{Procedure: r.ID, Variant: variant, Printed: "2026-11-25"}
				if r.Sides == "one" {
					request.Side = specdata.SideLeft
				}
				paper, err := sheet.New(lib, request)
				if err != nil {
					t.Fatal(err)
				}
				var wire, printed []string
				for _, u := range run.Torques {
					wire = append(wire, strings.Join(append([]string{fmt.Sprint(u.Number), u.Text, u.Value, u.StageText, u.Accept, u.ToolText}, u.Conditions...), " | "))
				}
				for _, u := range paper.Torques {
					printed = append(printed, strings.Join(append([]string{fmt.Sprint(u.Number), u.What, u.Value, u.Stage, u.Band, u.Tool}, u.Notes...), " | "))
				}
				if want := paper.For.OnSide("either"); r.Sides == "one" && (run.ForWhom.Text != want.Text() || run.ForWhom.NotText != want.Not()) {
					t.Errorf("for %v on the wire, %v on paper", run.ForWhom, want.Lines())
				}
				same(t, "torque table", wire, printed)
				same(t, "sockets", run.Picks.Drives, paper.Drives)
				same(t, "tools", run.Picks.Tools, paper.Tools)
				same(t, "new parts", run.Picks.NewParts, paper.Parts)
				same(t, "consumables", run.Picks.Consumables, paper.Supplies)
				same(t, "owed", run.Owed, paper.Owed)
				var reading, steps []string
				for i, m := range run.Timeline {
					if i > 0 && run.Timeline[i-1].Step == m.Step {
						continue // the other side of a step that is written once
					}
					s := stepOf(t, p, m.Step)
					reading = append(reading, s.Reading+fmt.Sprint(s.Criteria, s.Notes))
				}
				for _, s := range paper.Steps {
					steps = append(steps, s.Text+fmt.Sprint(s.Accept, s.Notes))
				}
				same(t, "steps", reading, steps)
			}
		})
	}
}

func same(t *testing.T, what string, wire, paper []string) {
	t.Helper()
	if !slices.Equal(wire, paper) {
		t.Errorf("%s differs:\nwire  %q\npaper %q", what, wire, paper)
	}
}

// The timeline says what is off, loose or open, and the dry run's records are among
// those that the view depends on.
func TestRunsOfAView(t *testing.T) {
	v, p := demoView(t, "quill-1-rear-hub-bearing")
	if len(p.Runs) != 1 || !p.Runs[0].Closes || len(p.Runs[0].Problems) > 0 {
		t.Fatalf("runs are %v", p.Runs)
	}
	run := p.Runs[0]
	i := slices.IndexFunc(run.Timeline, func(m *pb.DryRunMoment) bool { return m.Step == "hub-off" })
	m := run.Timeline[i]
	for _, want := range []string{"wheel nut out", "stub-axle collar nut out", "rear caliper carrier bolt out"} {
		if !slices.Contains(m.Open, want) {
			t.Errorf("after hub-off %q must be open; it has %q", want, m.Open)
		}
	}
	if !slices.Contains(m.Changed, "stub-axle collar nut out") || m.VehicleText != "rear end supported on stands" || int(m.OpenCount) != len(m.Open) {
		t.Errorf("moment of hub-off is %v", m)
	}
	if last := run.Timeline[len(run.Timeline)-1]; last.OpenCount != 0 {
		t.Errorf("open at the end: %q", last.Open)
	}
	for _, want := range []specdata.Name{"assemblies/quill-1-rear-hub-disc", "vehicles/quill-1", "fasteners/quill-1-wheel-nut"} {
		if !slices.Contains(v.Uses, want) {
			t.Errorf("view does not depend on %s, which its dry run rests on", want)
		}
	}
}

// A procedure that repeats itself beyond reason costs no more than a long one.
func TestEndlessRepeats(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	p := &specdata.Procedure{Head: specdata.Head{Kind: specdata.KindProcedure, ID: "p"}, AppliesTo: []specdata.Applies{{Vehicle: "quill-1"}}, Sides: "both"}
	for i := range 150 {
		p.Steps = append(p.Steps, specdata.Step{ID: fmt.Sprint("s", i), Operations: []specdata.Operation{{Do: specdata.Check, Target: "place:leaks"}}})
	}
	for i := range 150 {
		p.Steps = append(p.Steps, specdata.Step{ID: fmt.Sprint("r", i), Repeat: &specdata.Repeat{From: "s0", To: "s149", Side: "left"}})
	}
	v, err := view.Build(&library.Entry{Record: p, Hash: "00"}, nil, lib)
	if err != nil {
		t.Fatal(err)
	}
	if m := v.Message.(*pb.Procedure); len(m.Runs) != 0 || !strings.Contains(m.RunsText, "too many for a view") {
		t.Errorf("%d runs are served, and it says %q", len(m.Runs), m.RunsText)
	}
}

// A step without a sentence of its own is read with the one composed from its acts.
func TestStepWithoutSentence(t *testing.T) {
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	whole := l.Get("procedures/quill-1-rear-hub-bearing")
	p := *whole.Record.(*specdata.Procedure)
	p.Steps = slices.Clone(p.Steps)
	for i := range p.Steps {
		p.Steps[i].Text = ""
	}
	wordless := *whole
	wordless.Record = &p
	v, err := view.Build(&wordless, nil, l)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range v.Message.(*pb.Procedure).Steps {
		if s.Text == "" || s.Reading == "" || strings.Contains(s.Reading, "{") {
			t.Errorf("step %s has the text %q and reads %q", s.Id, s.Text, s.Reading)
		}
	}
}
