package specdata_test

import (
	"fmt"
	"slices"
	"testing"

	"proofload/specdata"
)

func TestNumbers(t *testing.T) {
	for text, want := range map[string][]string{
		"240": {"240"}, "1,5": {"1.5"}, "62 (46).": {"62", "46"}, "M10 62, 90": {"10", "62", "90"}, "hand tight ...": nil, "": nil,
	} {
		if got := specdata.Numbers(text); !slices.Equal(got, want) {
			t.Errorf("Numbers(%q) = %q, want %q", text, got, want)
		}
	}
}

func TestQuotable(t *testing.T) {
	f := &specdata.Fastener{Tightening: tightening("50 N.m", "40 N.m..45 N.m", "90 deg")}
	f.Tightening.Stages[0].Also = qty("37 lbf.ft")
	f.Tightening.Tolerance, f.Tightening.AngleTolerance, f.Tightening.DragTorque = qty("10 %"), qty("5 deg"), qty("3 N.m")
	f.Reuse, f.Lock = &specdata.Reuse{Rule: "measure", Limit: qty("118.5 mm")}, &specdata.Lock{By: "pin", Max: qty("1/12 turn")}
	want := "[50 N.m 37 lbf.ft 40 N.m 45 N.m 90 deg 5 deg 3 N.m 1/12 turn]" // neither the share nor the length
	if got := fmt.Sprint(f.Quotable()); got != want {
		t.Errorf("quotable %s, want %s", got, want)
	}
	if got := (&specdata.Fastener{}).Quotable(); len(got) != 0 {
		t.Errorf("a fastener without values may be quoted with %s", got)
	}
}
