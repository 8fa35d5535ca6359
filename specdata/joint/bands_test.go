package joint

import (
	"strconv"
	"testing"

	"proofload/specdata"
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

// Every condition that a record may state has a band, and zinc flake lies where its
// class in testdata/reference/friction.csv does: class B with the lubricant of its coat,
// class C without.
func TestEveryConditionHasABand(t *testing.T) {
	classes := map[string][2]string{}
	for _, r := range rows(t, "friction") {
		classes[r["quantity"]] = [2]string{r["low"], r["high"]}
	}
	for _, f := range []Family{Steel, Stainless} {
		for _, c := range specdata.SurfaceConditions {
			if b, err := SurfaceBand(c, f); err != nil || b.IsZero() || b.Low > b.Typical || b.Typical > b.High {
				t.Errorf("%s: %+v, %v", c, b, err)
			}
		}
		for c, class := range map[string]string{"zinc-flake": "friction class B", "zinc-flake-dry": "friction class C"} {
			b, _ := SurfaceBand(c, f)
			if low, high := strconv.FormatFloat(b.Low, 'f', 2, 64), strconv.FormatFloat(b.High, 'f', 2, 64); classes[class] != [2]string{low, high} {
				t.Errorf("%s lies from %s to %s, %s is %v", c, low, high, class, classes[class])
			}
		}
	}
}
