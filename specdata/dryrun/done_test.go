package dryrun_test

import (
	"slices"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
)

// After any first part of any procedure of the demo library, done in order, what is
// open is what the whole run says is open after that step, and nothing is refused
// that the whole run does not refuse.
func TestRunDoneAgreesWithTheRun(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	for e := range lib.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		for _, v := range dryrun.Variants(lib, p) {
			whole := dryrun.RunVariant(lib, p, v)
			var done []int
			for n, open := range whole.Open() {
				done = append(done, n)
				got := dryrun.RunDone(lib, p, v, done)
				var want, have []string
				for i := range open {
					want = append(want, open[i].Words())
				}
				for i := range got.Open {
					have = append(have, got.Open[i].Words())
				}
				slices.Sort(want)
				slices.Sort(have)
				if !slices.Equal(want, have) {
					t.Fatalf("%s %s after moment %d: %q is open, the run says %q", p.ID, v, n, have, want)
				}
				if len(got.Refused) > 0 || len(got.Mends) != len(got.Open) {
					t.Errorf("%s %s moment %d is refused: %s", p.ID, v, n, got.Refused[0].Message())
				}
			}
		}
	}
}

// What the state forbids is refused: the wheel nuts to their value while the end is up.
func TestRunDoneRefusesWhatTheStateForbids(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	e := lib.Get(specdata.NewName(specdata.KindProcedure, "quill-1-rear-hub-bearing"))
	p := e.Record.(*specdata.Procedure)
	v := dryrun.Variants(lib, p)[0]
	whole := dryrun.RunVariant(lib, p, v)
	var done []int
	for n, m := range whole.Timeline {
		if m.Step.ID == "lower-rear" {
			continue
		}
		done = append(done, n)
		if m.Step.ID != "wheel-tighten" {
			continue
		}
		got := dryrun.RunDone(lib, p, v, done)
		if len(got.Refused) == 0 {
			t.Fatal("wheel nuts are tightened with the end raised")
		}
		return
	}
	t.Fatal("the procedure has no step wheel-tighten")
}
