package lint_test

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

const fastenerRest = `place: wheel
count: 5
joint: wheel
drive: {turn: head, head: hex 17 mm}
tightening: {stages: [{torque: 110 N.m}], state: on-ground, drag: not-applicable, impact: removal-only}
reuse: {rule: reuse}
`

func fasteners(t testing.TB, lines string) *library.Memory {
	t.Helper()
	lib, err := library.NewMemory(entry(t, "fasteners/bolt", "kind: fastener\nid: bolt\ntitle: Bolt\n"+lines+fastenerRest))
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

// TestIdentityOutlivesFormatting: the identity of a finding does not change when
// list elements that have a key are put in another order, when comments and blank
// lines come, when the other value in the file changes; it changes with the value.
func TestIdentityOutlivesFormatting(t *testing.T) {
	r := rule("wide-clause", func(p *lint.Pass) {
		for i, a := range p.Fastener().AppliesTo {
			if a.Vehicle == "v0" {
				p.Reportf(fmt.Sprintf("/applies_to/%d/side", i), "side")
			}
		}
	})
	r.AppliesTo = lint.Kind(specdata.KindFastener)
	identity := func(t testing.TB, clauses []string, blank bool) string {
		lines := "applies_to:\n"
		for _, c := range clauses {
			if blank {
				lines += "\n  # a remark\n"
			}
			lines += "  - " + c + "\n"
		}
		rep := run(t, lint.Options{Rules: []*lint.Rule{r}, Library: fasteners(t, lines)})
		if len(rep.Findings) != 1 {
			t.Fatalf("findings are %v, want one", rep.Findings)
		}
		return rep.Findings[0].Identity
	}
	sides := rapid.SampledFrom([]string{"left", "right", "each"})
	rapid.Check(t, func(rt *rapid.T) {
		side := sides.Draw(rt, "side")
		clauses := []string{fmt.Sprintf("{vehicle: v0, side: %s}", side)}
		for i := range rapid.IntRange(0, 5).Draw(rt, "others") {
			clauses = append(clauses, fmt.Sprintf("{vehicle: v%d, side: %s}", i+1, sides.Draw(rt, "other side")))
		}
		was := identity(t, clauses, false)
		if now := identity(t, rapid.Permutation(clauses).Draw(rt, "order"), rapid.Bool().Draw(rt, "blank")); now != was {
			rt.Errorf("identity changed with order or layout: %s to %s", was, now)
		}
		clauses[0] = strings.Replace(clauses[0], side, "centre", 1)
		if now := identity(t, clauses, false); now == was {
			rt.Errorf("identity stayed %s although the value changed", was)
		}
	})
}

// TestIdentityTellsDuplicatesApart: two clauses of one vehicle are two places.
func TestIdentityTellsDuplicatesApart(t *testing.T) {
	r := rule("wide-clause", func(p *lint.Pass) {
		for i := range p.Fastener().AppliesTo {
			p.Reportf(fmt.Sprintf("/applies_to/%d/side", i), "side")
		}
	})
	r.AppliesTo = lint.Kind(specdata.KindFastener)
	rep := run(t, lint.Options{Rules: []*lint.Rule{r}, Library: fasteners(t, "applies_to: [{vehicle: v, side: left}, {vehicle: v, side: left}]\n")})
	if len(rep.Findings) != 2 || rep.Findings[0].Identity == rep.Findings[1].Identity {
		t.Errorf("findings are %v, want two with different identities", rep.Findings)
	}
}

func TestFindingIsCompleted(t *testing.T) {
	r := rule("looks-about", func(p *lint.Pass) {
		p.Reportf("", "whole")
		p.Reportf("/count", "number")
		p.Reportf("/tightening/stages/0/torque", "quantity")
		p.Reportf("/tightening/stages", "list")
		p.Reportf("/lock", "absent")
	})
	r.AppliesTo = lint.Kind(specdata.KindFastener)
	rep := run(t, lint.Options{Rules: []*lint.Rule{r}, Library: fasteners(t, "applies_to: [{vehicle: v}]\n")})
	want := map[string]string{"/count": "5", "/tightening/stages/0/torque": "110 N.m", "/tightening/stages": `[{"torque":"110 N.m"}]`, "/lock": ""}
	for _, f := range rep.Findings {
		if f.File != "fasteners/bolt.yaml" || f.Line == 0 || f.Column == 0 || f.Identity == "" {
			t.Errorf("finding at %q has no place or identity: %+v", f.Pointer, f)
		}
		if v, ok := want[f.Pointer]; ok && f.Value != v {
			t.Errorf("value at %s is %q, want %q", f.Pointer, f.Value, v)
		}
		if f.Pointer == "" && !strings.HasSuffix(f.Value, "…") {
			t.Errorf("value of a whole record is not cut: %q", f.Value)
		}
	}
}
