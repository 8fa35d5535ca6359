package joint

import (
	"math"
	"strings"
	"testing"

	"proofload/specdata"
)

// The worked example TQ-2 of testdata/reference/worked_examples.csv: a wrench of 0.5 m set
// to 100 with an adapter of 0.15 m gives 130; and the cases in which nobody can tell.
func TestSettingThrough(t *testing.T) {
	q := specdata.MustQuantity
	wrench := &specdata.Tool{Title: "Torque wrench", Kind: "torque-wrench", Lever: q("500 mm")}
	for _, c := range []struct {
		what    string
		wrench  *specdata.Tool
		through *specdata.Tool
		torque  float64
		want    float64
		says    string
	}{
		{"nothing between", wrench, nil, 130, 130, "the value itself"},
		{"TQ-2", wrench, &specdata.Tool{Title: "Crow-foot", Kind: "adapter", Reach: q("150 mm")}, 130, 100, "130 × 500/(500 + 150)"},
		{"across", nil, &specdata.Tool{Title: "Crow-foot", Kind: "adapter", Reach: q("150 mm"), Angle: q("90 deg")}, 130, 130, "across"},
		{"at 45", wrench, &specdata.Tool{Title: "Crow-foot", Kind: "adapter", Reach: q("150 mm"), Angle: q("45 deg")}, 130, 130 * 500 / (500 + 150*math.Sqrt2/2), "cos 45°"},
		{"multiplier", wrench, &specdata.Tool{Title: "Multiplier", Kind: "multiplier", Gain: q("1850 %")}, 370, 20, "370 / 18.5"},
		{"no reach", wrench, &specdata.Tool{Title: "Crow-foot", Kind: "adapter"}, 130, 0, "has no reach"},
		{"no lever", &specdata.Tool{Title: "Torque wrench"}, &specdata.Tool{Title: "Crow-foot", Kind: "adapter", Reach: q("150 mm")}, 130, 0, "has no lever"},
		{"no gain", wrench, &specdata.Tool{Title: "Multiplier", Kind: "multiplier"}, 130, 0, "has no gain"},
		{"gain of a divider", wrench, &specdata.Tool{Title: "Multiplier", Kind: "multiplier", Gain: q("18.5 %")}, 130, 0, "gives more than it gets"},
		{"back past the grip", wrench, &specdata.Tool{Title: "Crow-foot", Kind: "adapter", Reach: q("600 mm"), Angle: q("180 deg")}, 130, 0, "back past the grip"},
	} {
		got, err := SettingThrough(c.wrench, c.through, c.torque)
		text := got.How
		if err != nil {
			text = err.Error()
		}
		if (err == nil) != (c.want > 0) || math.Abs(got.Torque-c.want) > 1e-6 || !strings.Contains(text, c.says) {
			t.Errorf("%s: %g, %q, %v", c.what, got.Torque, got.How, err)
		}
	}
}
