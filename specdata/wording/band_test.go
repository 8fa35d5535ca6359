package wording_test

import (
	"math/big"
	"regexp"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/wording"
)

// perUnit is one unit in N·m, exact, independent of the program's own table: a pound-force
// is 0.45359237 kg x 9.80665 m/s2, a foot 0.3048 m, an inch 0.0254 m (NIST SP 811).
var perUnit = map[string]*big.Rat{
	"N·m":    big.NewRat(1, 1),
	"lbf·ft": rat("0.45359237", "9.80665", "0.3048"),
	"lbf·in": rat("0.45359237", "9.80665", "0.0254"),
}

func rat(factors ...string) *big.Rat {
	out := big.NewRat(1, 1)
	for _, f := range factors {
		r, _ := new(big.Rat).SetString(f)
		out.Mul(out, r)
	}
	return out
}

var printedRange = regexp.MustCompile(`^([0-9.]+)(?: to ([0-9.]+))? (N·m|lbf·ft|lbf·in)$`)

// readBack reads a printed band as a mechanic does: one unit for both ends.
func readBack(t *testing.T, text string) (low, high *big.Rat, unit string) {
	t.Helper()
	m := printedRange.FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("band %q is not one range in one unit", text)
	}
	if m[2] == "" {
		m[2] = m[1]
	}
	return new(big.Rat).Mul(rat(m[1]), perUnit[m[3]]), new(big.Rat).Mul(rat(m[2]), perUnit[m[3]]), m[3]
}

// Every printed band of every demo fastener lies inside its tolerance, has both ends in
// the unit of its value, and leaves the value in it.
func TestPrintedBandsLieInside(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for e := range lib.All(specdata.KindFastener) {
		f := e.Record.(*specdata.Fastener)
		if f.Tightening == nil {
			continue
		}
		for i := range f.Tightening.Stages {
			if b, ok := wording.BandOf(&f.Tightening.Stages[i], f.Tightening.Tolerance); ok {
				n++
				inside(t, f.ID, &f.Tightening.Stages[i], b)
			}
		}
	}
	if n < 200 {
		t.Errorf("only %d bands were looked at", n)
	}
}

func inside(t *testing.T, what string, s *specdata.Stage, b wording.Band) {
	t.Helper()
	for _, text := range []string{b.Metric(), b.Imperial()} {
		low, high, unit := readBack(t, text)
		if low.Cmp(b.Low) < 0 || high.Cmp(b.High) > 0 {
			t.Errorf("%s: %s lies outside %s to %s N·m", what, text, b.Low.FloatString(4), b.High.FloatString(4))
		}
		if low.Cmp(high) == 0 && b.Low.Cmp(b.High) != 0 {
			t.Errorf("%s: %s leaves no band", what, text)
		}
		if !s.UpTo.IsZero() {
			continue
		}
		if own := strings.TrimSuffix(wording.StageTorque(s), ")"); unit != "N·m" && !strings.HasSuffix(own, unit) {
			t.Errorf("%s: %s is not in the unit of its value, %s", what, text, own)
		}
	}
}

// The same for every torque from 1 to 400 N·m and from 1 to 300 lbf·ft and lbf·in, at
// tolerances from 1 to 25 %.
func TestBandsLieInsideEverywhere(t *testing.T) {
	for _, unit := range []string{"N.m", "lbf.ft", "lbf.in", "kgf.m"} {
		for v := 1; v <= 400; v += 3 {
			for _, tolerance := range []string{"1 %", "4 %", "5 %", "10 %", "15 %", "25 %"} {
				s := specdata.Stage{Torque: q(big.NewInt(int64(v)).String() + " " + unit)}
				b, ok := wording.BandOf(&s, q(tolerance))
				if !ok {
					t.Fatal(s, tolerance)
				}
				inside(t, s.Torque.String()+" "+tolerance, &s, b)
			}
		}
	}
}

// No band reaches beyond the scale of the wrench it is read on.
func TestBandsStayOnTheScale(t *testing.T) {
	wrench := &specdata.Tool{ID: "w", Title: "Torque wrench", Kind: "torque-wrench", From: q("10 N.m"), To: q("60 N.m")}
	for _, c := range []struct{ torque, want string }{
		{"58 N.m", "53 to 60 N·m (39 to 44 lbf·ft), ±10 %, as far as this wrench reads"},
		{"30 N.m", "27 to 33 N·m (20 to 24 lbf·ft), ±10 %"},
		{"10 N.m", "10 to 11 N·m (89 to 97 lbf·in), ±10 %, as far as this wrench reads"},
		{"70 N.m", "not to be read on this wrench, 10 to 60 N·m (8 to 44 lbf·ft)"},
	} {
		got := wording.AcceptedBy(&specdata.Tightening{Stages: []specdata.Stage{{Torque: q(c.torque)}}, Tolerance: q("10 %")}, []int{0}, wrench)
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.torque, got, c.want)
		}
	}
}

func TestTie(t *testing.T) {
	for text, want := range map[string]string{
		"tighten to 15 N·m (11 lbf·ft) now": "tighten to 15_N·m (11_lbf·ft) now",
		"spanner 17 mm":                     "spanner 17_mm",
		"accept 10 to 60 N·m":               "accept 10_to_60_N·m",
		"stage 2 of 4":                      "stage_2_of_4",
		"at most ≤ 0.05 mm":                 "at most ≤_0.05_mm",
		"turn 2 more":                       "turn 2 more",
		"after 50 km":                       "after 50_km",
		"2 × Carrier bolt":                  "2_× Carrier bolt",
		"9 minutes":                         "9 minutes",
	} {
		if got := strings.ReplaceAll(wording.Tie(text), "\u00a0", "_"); got != want {
			t.Errorf("%q is tied %q, want %q", text, got, want)
		}
	}
}
