package specdata_test

import (
	"encoding/json"
	"math"
	"math/big"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"proofload/specdata"
)

func TestParseQuantity(t *testing.T) {
	for _, s := range []string{
		"240 N.m", "177 lbf.ft", "0 N.m", "0.5 N.m", "30 mm", "9/16 in", "1-1/4 in", "1/4 turn", "90 deg", "10 %", "-5 N.m", "-0.5 mm", "999999999.999999999 N", "0.000000001 L", "10.0 N.m", "1/2 mm", "999/999 in", "99-1/2 in",
	} {
		q, err := specdata.ParseQuantity(s)
		if err != nil || q.String() != s || q.IsZero() {
			t.Errorf("%q gives %q (%v)", s, q, err)
		}
		number, unit, _ := strings.Cut(s, " ")
		if q.Number() != number || q.Unit().Symbol != unit || q.Dimension() != q.Unit().Dimension {
			t.Errorf("%q gives number %q, unit %q, dimension %q", s, q.Number(), q.Unit().Symbol, q.Dimension())
		}
	}
	for s, want := range map[string]string{
		"":                                    "is not a number, one space and a unit",
		"240":                                 "the unit is missing and is never guessed",
		"9/16":                                "the unit is missing and is never guessed",
		"N.m":                                 "write it like",
		"240N.m":                              `(did you mean "240 N.m"?)`,
		"240  N.m":                            `(did you mean "240 N.m"?)`,
		"240 N.m ":                            `(did you mean "240 N.m"?)`,
		" 240 N.m":                            "write it like",
		"240 Nm":                              `unit "Nm" is unknown; allowed: N.m, lbf.ft`,
		"177 ft-lb":                           `(did you mean "177 lbf.ft"?)`,
		"177 lb":                              `unit "lb" is unknown`,
		"240 n.m":                             `(did you mean "240 N.m"?)`,
		"010 N.m":                             "write it like",
		"+5 N.m":                              "write it like",
		".5 N.m":                              "write it like",
		"5. N.m":                              "write it like",
		"1e3 N.m":                             "write it like",
		"1,5 N.m":                             "write it like",
		"1_000 N.m":                           "write it like",
		"1 000 N.m":                           "is unknown",
		"1000000000 N.m":                      "write it like",
		"0.0000000001 N.m":                    "write it like",
		"-0 N.m":                              "negative zero",
		"-0.00 N.m":                           "negative zero",
		"1/2 N.m":                             "writes a fraction of N.m",
		"1/0 in":                              "write it like",
		"0/2 in":                              "write it like",
		"1-0/2 in":                            "write it like",
		"-1/2 in":                             "write it like",
		"100-1/2 in":                          "write it like",
		"1/1000 in":                           "write it like",
		"240\u00a0N.m":                        "write it like",
		"240\tN.m":                            "write it like",
		"240 N.m\n":                           "write it like",
		"240 N.m\n5 N.m":                      "write it like",
		"٢٤٠ N.m":                             "write it like",
		"NaN N.m":                             "write it like",
		"Inf N.m":                             "write it like",
		"0x10 N.m":                            "write it like",
		"--5 N.m":                             "write it like",
		"1-1/4-1/4 in":                        "write it like",
		"00.5 N.m":                            "write it like",
		"240 N.m or 250":                      "is unknown",
		"240 N\u00b7m":                        `(did you mean "240 N.m"?)`,
		"1.2.3 N.m":                           "write it like",
		"- N.m":                               "write it like",
		"3/4":                                 "never guessed",
		strings.Repeat("9", 100_000) + " N.m": "write it like",
		"1 " + strings.Repeat("é", 100_000):   "is unknown",
	} {
		q, err := specdata.ParseQuantity(s)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.40q: %q, error %v; want …%s…", s, q, err, want)
			continue
		}
		if !q.IsZero() || len(err.Error()) > 500 || !utf8.ValidString(err.Error()) {
			t.Errorf("%.40q: quantity %q with an error of %d bytes", s, q, len(err.Error()))
		}
	}
}

// form is the grammar of a quantity's number as one expression, written apart from
// the code that reads it.
var form = regexp.MustCompile(`^(-?(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,9})?|(?:[1-9][0-9]?-)?[1-9][0-9]{0,2}/[1-9][0-9]{0,2}) (N\.m|lbf\.ft|lbf\.in|kgf\.m|kgf\.cm|ozf\.in|mm|in|deg|turn|N|kN|lbf|MPa|psi|L|mL|%|s|min|h|kg|km|K)$`)

func checkQuantity(t interface{ Fatalf(string, ...any) }, s string) {
	q, err := specdata.ParseQuantity(s)
	m := form.FindStringSubmatch(s)
	want := m != nil
	if want && strings.Contains(m[1], "/") {
		want = m[2] == "mm" || m[2] == "in" || m[2] == "deg" || m[2] == "turn"
	}
	if want && strings.HasPrefix(m[1], "-") && strings.Trim(m[1], "-0.") == "" {
		want = false
	}
	if (err == nil) != want {
		t.Fatalf("%q: error %v, want it taken: %v", s, err, want)
	}
	if err != nil {
		if !q.IsZero() || !utf8.ValidString(err.Error()) && utf8.ValidString(s) {
			t.Fatalf("%q: %q with error %v", s, q, err)
		}
		return
	}
	if q.String() != s {
		t.Fatalf("%q comes back as %q", s, q)
	}
	again, err := specdata.ParseQuantity(q.String())
	if err != nil || !again.Equal(q) || again != q {
		t.Fatalf("%q is not itself when read again", s)
	}
	// The cached value is the exact one, rounded once.
	exact, err := q.In(q.Unit())
	if err != nil {
		t.Fatalf("%v", err)
	}
	f, _ := new(big.Rat).Mul(exact, q.Unit().SI).Float64()
	if q.Dimension() == specdata.Angle {
		f = f * math.Pi / 180
	}
	if q.SI() != f {
		t.Fatalf("%q is %v in SI, exactly %v", s, q.SI(), f)
	}
	low, high := q.Interval()
	if low.Cmp(exact) > 0 || high.Cmp(exact) < 0 || q.Sign() != exact.Sign() {
		t.Fatalf("%q: interval %v to %v, sign %d", s, low, high, q.Sign())
	}
}

func quantities() *rapid.Generator[string] {
	units := make([]string, len(specdata.Units))
	for i, u := range specdata.Units {
		units[i] = u.Symbol
	}
	return rapid.Custom(func(t *rapid.T) string {
		number := rapid.StringMatching(`-?(0|[1-9][0-9]{0,9})(\.[0-9]{0,10})?|([1-9][0-9]?-)?[0-9]{1,3}/[0-9]{1,3}`).Draw(t, "number")
		return number + rapid.SampledFrom([]string{" ", "", "  "}).Draw(t, "space") + rapid.SampledFrom(append(units, "Nm", "")).Draw(t, "unit")
	})
}

func TestQuantityLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { checkQuantity(t, quantities().Draw(t, "quantity")) })
}

func FuzzParseQuantity(f *testing.F) {
	for _, s := range []string{"240 N.m", "9/16 in", "1-1/4 in", "-0 N.m", "00.5 N.m", "240Nm", "1 lbf.ft", "", "1/4 turn"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) { checkQuantity(t, s) })
}

// Going to another unit and back loses nothing, because every factor is exact.
func TestConversionIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q, err := specdata.ParseQuantity(quantities().Draw(t, "quantity"))
		if err != nil {
			return
		}
		for _, u := range specdata.Units {
			r, err := q.In(u)
			if (err == nil) != (u.Dimension == q.Dimension()) {
				t.Fatalf("%s in %s: %v", q, u.Symbol, err)
			}
			if err != nil {
				continue
			}
			back := new(big.Rat).Quo(new(big.Rat).Mul(r, u.SI), q.Unit().SI)
			own, err := q.In(q.Unit())
			if err != nil || back.Cmp(own) != 0 {
				t.Fatalf("%s is %v, by way of %s %v", q, own, u.Symbol, back)
			}
			f, _ := r.Float64()
			if got := q.Float(u.Symbol); got != f {
				t.Fatalf("%s is %v %s, exactly %v", q, got, u.Symbol, f)
			}
		}
	})
}

func TestAbsentQuantity(t *testing.T) {
	var q specdata.Quantity
	if !q.IsZero() || q.String() != "" || q.Number() != "" || q.Sign() != 0 || !math.IsNaN(q.SI()) || !math.IsNaN(q.Float("N.m")) || q.Dimension() != "" {
		t.Errorf("absent quantity is %q, %v", q, q.SI())
	}
	if _, err := q.In(unit(t, "mm")); err == nil {
		t.Error("an absent quantity has a value")
	}
	if zero := specdata.MustQuantity("0 N.m"); zero.IsZero() || zero.Sign() != 0 || zero.SI() != 0 {
		t.Error("0 N.m is not absent")
	}
	if !math.IsNaN(specdata.MustQuantity("1 N.m").Float("mm")) || !math.IsNaN(specdata.MustQuantity("1 N.m").Float("furlong")) {
		t.Error("a torque has a length")
	}
}

func TestQuantityInJSON(t *testing.T) {
	type holder struct {
		Q specdata.Quantity `json:"q,omitzero"`
	}
	for text, want := range map[string]string{`{"q":"240 N.m"}`: "240 N.m", `{"q":"10.0 %"}`: "10.0 %", `{}`: ""} {
		var h holder
		if err := json.Unmarshal([]byte(text), &h); err != nil || h.Q.String() != want {
			t.Errorf("%s gives %q (%v)", text, h.Q, err)
		}
		if out, err := json.Marshal(h); err != nil || string(out) != text {
			t.Errorf("%q is written %s (%v)", h.Q, out, err)
		}
	}
	for _, text := range []string{`{"q":240}`, `{"q":"240"}`, `{"q":""}`, `{"q":["240 N.m"]}`, `{"q":"240 Nm"}`} {
		var h holder
		if err := json.Unmarshal([]byte(text), &h); err == nil {
			t.Errorf("%s was taken as %q", text, h.Q)
		}
	}
}

// The printed digits say how far a number can be trusted.
func TestInterval(t *testing.T) {
	for s, want := range map[string][2]string{
		"240 N.m": {"239.5", "240.5"}, "240.0 N.m": {"239.95", "240.05"}, "0.5 mm": {"0.45", "0.55"}, "-5 N.m": {"-5.5", "-4.5"}, "9/16 in": {"0.5625", "0.5625"}, "1-1/4 in": {"1.25", "1.25"}, "0 N.m": {"-0.5", "0.5"},
	} {
		low, high := specdata.MustQuantity(s).Interval()
		for i, got := range []*big.Rat{low, high} {
			if w, _ := new(big.Rat).SetString(want[i]); got.Cmp(w) != 0 {
				t.Errorf("%s: bound %d is %s, want %s", s, i, got.FloatString(6), want[i])
			}
		}
	}
}

func TestEqualIsAsPrinted(t *testing.T) {
	q := specdata.MustQuantity
	if !q("240 N.m").Equal(q("240 N.m")) || q("240 N.m").Equal(q("240.0 N.m")) || q("1 kN").Equal(q("1000 N")) || q("1 N.m").Equal(specdata.Quantity{}) {
		t.Error("Equal compares values, not what is printed")
	}
}

func TestMustQuantityPanics(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a misspelt constant went unseen")
		}
	}()
	specdata.MustQuantity("240 Nm")
}

func TestShorten(t *testing.T) {
	for _, s := range []string{"", "a", strings.Repeat("a", 60), strings.Repeat("a", 61), strings.Repeat("é", 40), strings.Repeat("😀", 30), strings.Repeat("\xff", 100)} {
		got := specdata.Shorten(s)
		if len(got) > 63 || utf8.ValidString(s) && !utf8.ValidString(got) || len(s) <= 60 && got != s {
			t.Errorf("%q becomes %q", s, got)
		}
	}
}

func BenchmarkParseQuantity(b *testing.B) {
	for _, s := range []string{"240 N.m", "177 lbf.ft", "9/16 in"} {
		b.Run(s, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := specdata.ParseQuantity(s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// The value in SI units is the exact one rounded once.
func TestSIRoundsOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(specdata.Units).Draw(t, "unit")
		number := rapid.StringMatching(`-?(0|[1-9][0-9]{0,8})(\.[0-9]{1,9})?`).Draw(t, "number")
		q, err := specdata.ParseQuantity(number + " " + u.Symbol)
		if err != nil || u.Dimension == specdata.Angle { // a negative zero; π
			return
		}
		exact, _ := new(big.Rat).SetString(number)
		if want, _ := exact.Mul(exact, u.SI).Float64(); q.SI() != want {
			t.Fatalf("%s is %v in SI units, want %v", q, q.SI(), want)
		}
	})
}
