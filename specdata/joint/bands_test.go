package joint

import (
	"strconv"
	"testing"
)

// Every cell of the friction bands is that of testdata/reference/friction_bands.csv,
// which says where it comes from: a band that moves by a hundredth moves verdicts.
func TestBandsAreTheTable(t *testing.T) {
	seen := map[Family]int{}
	families := map[string]Family{"steel": Steel, "stainless": Stainless}
	for _, r := range rows(t, "friction_bands") {
		family, ok := families[r["family"]]
		if !ok {
			t.Fatalf("family %q", r["family"])
		}
		seen[family]++
		got, err := SurfaceBand(r["surface"], family)
		if err != nil {
			t.Error(err)
			continue
		}
		for column, value := range map[string]float64{"low": got.Low, "typical": got.Typical, "high": got.High} {
			want, err := strconv.ParseFloat(r[column], 64)
			if err != nil {
				t.Fatal(err)
			}
			if value != want {
				t.Errorf("%s %q: %s is %v, the table has %v (%s)", r["family"], r["surface"], column, value, want, r["source"])
			}
		}
	}
	if seen[Steel] != len(steelBands) || seen[Stainless] != len(stainlessBands) {
		t.Errorf("the table has %v bands, the package %d and %d", seen, len(steelBands), len(stainlessBands))
	}
}
