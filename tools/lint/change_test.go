package lint_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/tools/lint"
)

func tightened(tolerance string, torques ...string) *specdata.Fastener {
	f := &specdata.Fastener{Tightening: &specdata.Tightening{}}
	for _, s := range torques {
		f.Tightening.Stages = append(f.Tightening.Stages, specdata.Stage{Torque: specdata.MustQuantity(s)})
	}
	if tolerance != "" {
		f.Tightening.Tolerance = specdata.MustQuantity(tolerance)
	}
	return f
}

func TestMoves(t *testing.T) {
	for _, c := range []struct {
		name     string
		old, new *specdata.Fastener
		want     string
	}{
		{"nothing", tightened("", "60 N.m"), tightened("", "60 N.m"), ""},
		{"a torque", tightened("", "60 N.m"), tightened("", "75 N.m"), "/tightening/stages/0/torque 1.25"},
		{"another unit", tightened("", "110 N.m"), tightened("", "81 lbf.ft"), ""},
		{"a small torque relabelled", tightened("", "2 N.m"), tightened("", "2 lbf.ft"), "/tightening/stages/0/torque 1.36"},
		{"a tolerance", tightened("10 %", "60 N.m"), tightened("5 %", "60 N.m"), "/tightening/tolerance 0.50"},
		{"a tolerance of another kind", tightened("10 %", "60 N.m"), tightened("6 N.m", "60 N.m"), ""},
		{"two of three", tightened("", "20 N.m", "40 N.m", "60 N.m"), tightened("", "20 N.m", "30 N.m", "90 N.m"), "/tightening/stages/1/torque 0.75, /tightening/stages/2/torque 1.50"},
		{"a stage gone and the last moved", tightened("", "20 N.m", "40 N.m"), tightened("", "80 N.m"), "/tightening/stages/0/torque 2.00"},
		{"a stage put before", tightened("", "40 N.m"), tightened("", "20 N.m", "40 N.m"), ""},
		{"from nothing", tightened("", "0 N.m"), tightened("", "40 N.m"), "/tightening/stages/0/torque 0.00"},
		{"no tightening", &specdata.Fastener{}, tightened("", "40 N.m"), ""},
	} {
		var got []string
		for _, m := range lint.Moves(c.old, c.new) {
			got = append(got, fmt.Sprintf("%s %.2f", m.At, m.Ratio()))
		}
		if s := strings.Join(got, ", "); s != c.want {
			t.Errorf("%s: moves %q, want %q", c.name, s, c.want)
		}
	}
	m := lint.Move{Old: specdata.MustQuantity("110 N.m"), New: specdata.MustQuantity("110 lbf.ft")}
	if math.Abs(m.Ratio()-1.355818) > 1e-6 { // NIST SP 811, appendix B.8
		t.Errorf("ratio of a swapped label is %g", m.Ratio())
	}
}

func TestBacked(t *testing.T) {
	value := specdata.MustQuantity("62 N.m")
	for _, c := range []struct {
		name     string
		old, new *specdata.Citation
		want     bool
	}{
		{"quoted", &specdata.Citation{Document: "a"}, &specdata.Citation{Document: "a", Quote: "46 ft-lb (62 Nm)"}, true},
		{"quoted in the other unit", &specdata.Citation{Document: "a"}, &specdata.Citation{Document: "a", Quote: "46 ft-lb"}, true},
		{"another number quoted", &specdata.Citation{Document: "a"}, &specdata.Citation{Document: "a", Quote: "26 Nm"}, false},
		{"another document", &specdata.Citation{Document: "a"}, &specdata.Citation{Document: "b"}, true},
		{"no citation before", nil, &specdata.Citation{Document: "b"}, false},
		{"no citation now", &specdata.Citation{Document: "a"}, nil, false},
	} {
		if got := lint.Backed(c.old, c.new, value); got != c.want {
			t.Errorf("%s: backed %v, want %v", c.name, got, c.want)
		}
	}
}
