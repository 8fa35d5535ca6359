package oracle_test

import (
	"encoding/json"
	"slices"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
	"proofload/tools/faultbench/oracle"
	"proofload/tools/lint/ruletest"
)

// workshop returns a clean job on a rear corner, as a copy to be changed.
func workshop(t *testing.T) (*library.Memory, *specdata.Procedure) {
	t.Helper()
	l, err := ruletest.Workshop()
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(l.Get("procedures/tansy-2-rear-arm").Record)
	if err != nil {
		t.Fatal(err)
	}
	p := new(specdata.Procedure)
	if err := json.Unmarshal(b, p); err != nil {
		t.Fatal(err)
	}
	return l, p
}

func step(t *testing.T, p *specdata.Procedure, id string) *specdata.Step {
	t.Helper()
	i := slices.IndexFunc(p.Steps, func(s specdata.Step) bool { return s.ID == id })
	if i < 0 {
		t.Fatalf("no step %s", id)
	}
	return &p.Steps[i]
}

func TestJudge(t *testing.T) {
	swap := func(ops []specdata.Operation, i, j int) { ops[i], ops[j] = ops[j], ops[i] }
	drop := func(s *specdata.Step, i int) { s.Operations = slices.Delete(s.Operations, i, i+1) }
	cases := []struct {
		name   string
		change func(t *testing.T, p *specdata.Procedure)
		want   oracle.Verdict
	}{
		{"nothing", func(*testing.T, *specdata.Procedure) {}, oracle.Same},
		{"two acts on things that touch nothing in common", func(t *testing.T, p *specdata.Procedure) {
			// The sensor plug is made and the disc fitted in either order.
			swap(step(t, p, "disc-on").Operations, 0, 1)
		}, oracle.Same},
		{"a bolt before the part it holds", func(t *testing.T, p *specdata.Procedure) { swap(step(t, p, "arm-on").Operations, 0, 1) }, oracle.Changed},
		{"an act lost", func(t *testing.T, p *specdata.Procedure) { drop(step(t, p, "lead-off"), 0) }, oracle.Changed},
		{"an act twice", func(t *testing.T, p *specdata.Procedure) {
			s := step(t, p, "lead-off")
			s.Operations = slices.Insert(s.Operations, 0, s.Operations[0])
		}, oracle.Changed},
		{"a slackening that the removal after it includes", func(t *testing.T, p *specdata.Procedure) {
			s := step(t, p, "joint-off")
			s.Operations = slices.Insert(s.Operations, 0, specdata.Operation{Do: specdata.Slacken, Target: "fastener:tansy-2-ball-joint-nut", Tool: "socket-18"})
		}, oracle.Same},
		{"a slackening on the ground lost", func(t *testing.T, p *specdata.Procedure) { drop(step(t, p, "slacken-wheel"), 0) }, oracle.Changed},
		{"the discarding of what is renewed lost", func(t *testing.T, p *specdata.Procedure) { drop(step(t, p, "arm-off"), 1) }, oracle.Same},
		{"new lost", func(t *testing.T, p *specdata.Procedure) { step(t, p, "hub-on").Operations[1].New = false }, oracle.Changed},
		{"a look that nothing asks for lost", func(t *testing.T, p *specdata.Procedure) { drop(step(t, p, "inspect"), 0) }, oracle.NotJudged},
		{"a look that a record asks for lost", func(t *testing.T, p *specdata.Procedure) { drop(step(t, p, "hub-lock"), 1) }, oracle.NotJudged},
		{"both looks that a record asks for lost", func(t *testing.T, p *specdata.Procedure) {
			drop(step(t, p, "hub-lock"), 2)
			drop(step(t, p, "hub-lock"), 1)
		}, oracle.Changed},
		{"alignment lost", func(t *testing.T, p *specdata.Procedure) { drop(step(t, p, "align"), 0) }, oracle.Changed},
		{"a criterion lost", func(t *testing.T, p *specdata.Procedure) { step(t, p, "inspect").Operations[0].Accept = "" }, oracle.Changed},
		{"the road test lost", func(t *testing.T, p *specdata.Procedure) { drop(step(t, p, "drive"), 0) }, oracle.NotJudged},
		{"another wrench that has the value", func(t *testing.T, p *specdata.Procedure) {
			p.Tools = append(p.Tools, specdata.Tool{ID: "other", Title: "another", Kind: "torque-wrench", From: specdata.MustQuantity("40 N.m"), To: specdata.MustQuantity("300 N.m")})
			step(t, p, "wheel-final").Operations[0].Tool = "other"
		}, oracle.Same},
		{"a wrench that has it not", func(t *testing.T, p *specdata.Procedure) {
			step(t, p, "wheel-final").Operations[0].Tool = "large-wrench"
		}, oracle.Changed},
		{"the caution about crushing lost", func(t *testing.T, p *specdata.Procedure) { p.Cautions = p.Cautions[1:] }, oracle.Changed},
		{"the caution about wheels lost, which no act is held to", func(t *testing.T, p *specdata.Procedure) { p.Cautions = p.Cautions[:2] }, oracle.Same},
		{"another sentence", func(t *testing.T, p *specdata.Procedure) { step(t, p, "arm-off").Text = "Do something." }, oracle.Changed},
		{"a part not ordered", func(t *testing.T, p *specdata.Procedure) { p.Parts = p.Parts[1:] }, oracle.Changed},
		{"lowered before the bush is tight", func(t *testing.T, p *specdata.Procedure) {
			s := step(t, p, "lower")
			op := s.Operations[0]
			s.Operations[0] = specdata.Operation{Do: specdata.Wait, Target: "job:x"}
			u := step(t, p, "load")
			u.Operations = append([]specdata.Operation{op}, u.Operations...)
		}, oracle.Changed},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			l, before := workshop(t)
			_, after := workshop(t)
			c.change(t, after)
			if got := oracle.Judge(l, before, after); got != c.want {
				t.Errorf("judged %s, want %s", got, c.want)
			}
		})
	}
}

// A circuit is drained through what the assembly says: out with the plug first.
func TestDrainDependsOnItsPlug(t *testing.T) {
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	before := library.Procedure(l, "pell-1-oil-and-filter")
	after := *before
	after.Steps = slices.Clone(before.Steps)
	s := step(t, &after, "drain")
	s.Operations = slices.Clone(s.Operations)
	slices.Reverse(s.Operations)
	if got := oracle.Judge(l, before, &after); got != oracle.Changed {
		t.Errorf("drained before the plug is out: judged %s, want %s", got, oracle.Changed)
	}
}
