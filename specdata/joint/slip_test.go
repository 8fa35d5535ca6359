package joint

import (
	"math"
	"slices"
	"testing"
)

// Factors of NIST SP 811 appendix B.8 (1 lbf·ft = 1.355 818 N·m, 1 lbf·in =
// 0.112 984 8 N·m, 1 kgf·m = 9.806 65 N·m), from memory.
func TestSlipFactors(t *testing.T) {
	for _, c := range []struct {
		ratio float64
		what  string
	}{
		{12, "a value in lbf·in was taken for lbf·ft"},
		{1.355818, "a value in N·m was taken for lbf·ft"},
		{1 / 1.355818, "a value in lbf·ft was taken for N·m"},
		{1.355818 * 1.355818, "the value was converted twice, or the wrong way"},
		{9.80665, "a value in N·m was taken for kgf·m"},
		{1 / 9.80665, "a value in kgf·m was taken for N·m"},
		{1 / 0.1129848, "a value in lbf·in was taken for N·m"},
		{0.1129848, "a value in N·m was taken for lbf·in"},
		{10, "the decimal point was lost"},
		{9.80665 / 1.355818, "a value in lbf·ft was taken for kgf·m"},
	} {
		if s, ok := SlipOf(c.ratio, 1e-6); !ok || s.What != c.what {
			t.Errorf("ratio %.6f is called %q, %v; want %q", c.ratio, s.What, ok, c.what)
		}
	}
}

func TestSlipOfNamesNothingElse(t *testing.T) {
	for _, ratio := range []float64{1, 1.1, 0.9, 2.5, 0, -12, math.NaN(), math.Inf(1)} {
		if s, ok := SlipOf(ratio, 0.05); ok {
			t.Errorf("ratio %v is called %q", ratio, s.What)
		}
	}
	if s, ok := SlipOf(11.2, 0.3); !ok || s.Factor != 12 {
		t.Errorf("ratio 11.2 is called %v %q; the nearest slip is 12", s.Factor, s.What)
	}
}

func TestTranspositions(t *testing.T) {
	for _, c := range []struct {
		digits string
		want   []string
	}{
		{"310", []string{"130", "301"}},
		{"62", []string{"26"}},
		{"58.5", []string{"85.5"}},
		{"10", nil},  // 01 is no number anyone prints
		{"0.8", nil}, // digits do not change places over a point
		{"88", nil},
		{"", nil},
	} {
		if got := Transpositions(c.digits); !slices.Equal(got, c.want) {
			t.Errorf("%q may have been %q; want %q", c.digits, got, c.want)
		}
	}
}

// TestUsual holds the usual torque against rows of the VDI 2230:2001 table for
// fine threads, as testdata/reference/torque_tables.csv has them from a
// distributor's catalogue. They are printed to the newton metre; the bearing of the
// catalogue's own heads differs by up to 1 %.
func TestUsual(t *testing.T) {
	for _, c := range []struct {
		thread, class string
		mu            float64
		table         float64
	}{
		{"M8x1", "8.8", 0.12, 26.1}, {"M10x1.25", "10.9", 0.10, 65}, {"M10x1.25", "8.8", 0.14, 57}, {"M12x1.25", "10.9", 0.12, 133},
	} {
		th := parse(t, c.thread)
		g := grade(t, c.class, th)
		b := Band{Low: c.mu, Typical: c.mu, High: c.mu}
		v := Judge(Input{Thread: th, Bolt: g, ThreadBand: b, HeadBand: b, Torque: 1})
		if got := v.Usual(); math.Abs(got/c.table-1) > 0.015 {
			t.Errorf("%s %s at µ %.2f: usual torque is %.1f N·m; the table has %.1f", c.thread, c.class, c.mu, got, c.table)
		}
	}
}

// TestMend: slips of the trade (common practice, no source).
func TestMend(t *testing.T) {
	for _, c := range []struct {
		thread, class, digits string
		unit                  float64
		want                  float64
		what                  string
	}{
		{"M6x1", "8.8", "80", footPound, 80 * PoundInch, "a value in lbf·in was taken for lbf·ft"},
		{"M12x1.5", "10.9", "310", 1, 130, "two digits changed places"},
		{"M12x1.75", "10.9", "12", 1, 120, "a digit was lost"},
		{"M12x1.5", "10.9", "11", 1, 110, "a digit was lost"}, // kgf·m gives nearly the same; the commoner is named
	} {
		th := parse(t, c.thread)
		g := grade(t, c.class, th)
		b, err := SurfaceBand("dry", Steel)
		if err != nil {
			t.Fatal(err)
		}
		v := Judge(Input{Thread: th, Bolt: g, ThreadBand: b, Torque: number(c.digits) * c.unit})
		ms := v.Mend(c.digits, c.unit)
		if !slices.ContainsFunc(ms, func(m Mended) bool { return m.What == c.what && math.Abs(m.Torque-c.want) < 1e-9 }) {
			t.Errorf("%s %s at %s: mends are %v; want %.1f N·m, %s", c.thread, c.class, c.digits, ms, c.want, c.what)
		}
	}
}
