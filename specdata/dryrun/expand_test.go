package dryrun_test

import (
	"fmt"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/dryrun"
)

// asking returns a line for each of n options.
func asking(n int, line string) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "where o%02d=a: %s\n", i, line)
	}
	return b.String()
}

func withOptions(n, values int) *specdata.Vehicle {
	v := &specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: "test-2", Title: "Test 2"}, Options: map[string][]string{}}
	for i := range n {
		for j := range values {
			v.Options[fmt.Sprintf("o%02d", i)] = append(v.Options[fmt.Sprintf("o%02d", i)], string(rune('a'+j)))
		}
	}
	return v
}

func runOn2(t *testing.T, v *specdata.Vehicle, lines string) *dryrun.Result {
	p := job(t, "one", lines)
	p.AppliesTo = []specdata.Applies{{Vehicle: "test-2"}}
	corner := &specdata.Assembly{Head: specdata.Head{Kind: specdata.KindAssembly, ID: "corner-2", Title: "Corner"}, AppliesTo: []specdata.Applies{{Vehicle: "test-2"}}, Place: "corner", Parts: []specdata.Part{{ID: "hub", Title: "Hub", HeldBy: []string{"nut"}}}}
	nut := fastener("nut", "Hub nut", func(f *specdata.Fastener) { f.AppliesTo = []specdata.Applies{{Vehicle: "test-2"}} })
	p.Assemblies = []string{"corner-2"}
	return dryrun.Run(world(t, v, corner, nut), p)
}

// A nut that one variant never tightens is found however many options are asked
// about besides, or the run says that it did not look.
func TestNoVariantIsLeftOutInSilence(t *testing.T) {
	const slip = "slacken fastener:nut\nwhere o00=a: tighten fastener:nut\n" // not for o00=b
	for _, n := range []int{1, 5, 6, 7, 8, 9, 10, 20} {
		r := runOn2(t, withOptions(n, 2), slip+asking(n, "slacken fastener:nut; tighten fastener:nut"))
		found, beyond := false, false
		for _, p := range r.Problems() {
			found = found || p.Cause == dryrun.CauseOpen && p.Target == "fastener:nut"
			beyond = beyond || p.Cause == dryrun.CauseUncovered
		}
		if !found && !beyond {
			t.Errorf("%d options: neither the loose nut nor a problem of coverage among %q", n, say(r))
		}
		if all := len(r.Outcomes) + r.Beyond; n < 20 && all != 1<<n {
			t.Errorf("%d options: %d run and %d beyond, want %d in all", n, len(r.Outcomes), r.Beyond, 1<<n)
		}
		if beyond != (r.Beyond > 0) {
			t.Errorf("%d options: %d beyond, reported %v", n, r.Beyond, beyond)
		}
	}
}

// Options that only say what is cleaned or written down do not multiply the runs, nor
// do values that everything treats alike.
func TestOnlyOptionsThatChangeSomethingSplit(t *testing.T) {
	r := runOn2(t, withOptions(30, 2), "slacken fastener:nut; tighten fastener:nut\n"+asking(30, "clean place:seat; mark place:seat"))
	if len(r.Outcomes) != 1 || r.Beyond != 0 {
		t.Errorf("30 options about cleaning: %d runs, %d beyond; want 1 and 0", len(r.Outcomes), r.Beyond)
	}
	r = runOn2(t, withOptions(3, 20), asking(3, "slacken fastener:nut; tighten fastener:nut"))
	if len(r.Outcomes) != 8 || r.Beyond != 0 {
		t.Errorf("3 options of 20 values, one of each told apart: %d runs, %d beyond; want 8 and 0", len(r.Outcomes), r.Beyond)
	}
}

func TestRepeatsThatAreCutAreSaid(t *testing.T) {
	lines := "slacken fastener:nut; tighten fastener:nut\n" + strings.Repeat("check place:seat\n", 70)
	for i := range 80 {
		lines += fmt.Sprintf("repeat s1 s%d right\n", 70-i%3)
	}
	cut := false
	for _, p := range runOn2(t, withOptions(0, 0), lines).Problems() {
		cut = cut || p.Cause == dryrun.CauseUncovered && strings.Contains(p.Message(), "more than 5000 acts")
	}
	if !cut {
		t.Error("repeats that bring more than 5000 acts are cut and nothing says so")
	}
}
