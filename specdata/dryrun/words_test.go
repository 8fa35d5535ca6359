package dryrun

import (
	"strings"
	"testing"

	"proofload/specdata"
)

// A vehicle as it came in has nothing to say; each end that is up says how, the front first.
func TestSurroundingsWords(t *testing.T) {
	if got := (Surroundings{}).Words(); got != "" {
		t.Errorf("a vehicle as it came in: %q", got)
	}
	for _, tt := range []struct {
		s     Surroundings
		words []string
	}{
		{Surroundings{Rear: Supported}, []string{"rear end"}},
		{Surroundings{Front: Supported, Rear: Supported, RearLoaded: true}, []string{"front end", "rear end", "suspension at ride height"}},
		{Surroundings{Dead: []string{"battery"}}, []string{"battery isolated"}},
	} {
		got, at := tt.s.Words(), -1
		for _, w := range tt.words {
			i := strings.Index(got, w)
			if i <= at {
				t.Errorf("%+v is %q; want %q in order", tt.s, got, tt.words)
			}
			at = i
		}
		if strings.Contains(got, "front end") != (tt.s.Front != Ground) || strings.Contains(got, "rear end") != (tt.s.Rear != Ground) || strings.Contains(got, "ride height") != tt.s.RearLoaded {
			t.Errorf("%+v is %q", tt.s, got)
		}
	}
}

// A moment is one pass of one step on one side.
func TestNewMoment(t *testing.T) {
	a := Act{StepIndex: 3, Side: specdata.SideLeft}
	same, otherStep, otherSide := a, a, a
	otherStep.StepIndex, otherSide.Side = 4, specdata.SideRight
	if newMoment(&a, &same) || !newMoment(&a, &otherStep) || !newMoment(&a, &otherSide) {
		t.Error("a moment begins with another step or side, and not within one")
	}
}

// Only a thing that is handed is another one on the other side.
func TestSided(t *testing.T) {
	for _, tt := range []struct {
		side   specdata.Side
		handed bool
		want   specdata.Side
	}{
		{specdata.SideLeft, true, specdata.SideLeft}, {specdata.SideRight, true, specdata.SideRight}, {specdata.SideLeft, false, ""},
		{specdata.SideCentre, true, ""}, {"", true, ""},
	} {
		if got := sided("part:x", tt.side, tt.handed); got.Side != tt.want || got.Target != "part:x" {
			t.Errorf("side %q, handed %v: %+v, want side %q", tt.side, tt.handed, got, tt.want)
		}
	}
}
