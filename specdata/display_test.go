package specdata_test

import (
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

// Rounding for display is common practice, no source: N·m whole from 20 up, halves
// from 10, tenths below; lbf·ft whole from 10 up, lbf·in whole below.
func TestDisplayOfTorques(t *testing.T) {
	for s, want := range map[string][2]string{
		"240 N.m":    {"240 N·m", "177 lbf·ft"},
		"240.0 N.m":  {"240.0 N·m", "177 lbf·ft"}, // as printed
		"177 lbf.ft": {"240 N·m", "177 lbf·ft"},
		"8 N.m":      {"8 N·m", "71 lbf·in"},
		"13.5 N.m":   {"13.5 N·m", "119 lbf·in"}, // 9.96 lbf·ft stays below ten
		"13.6 N.m":   {"13.6 N·m", "10 lbf·ft"},
		"10 lbf.ft":  {"13.5 N·m", "10 lbf·ft"},
		"71 lbf.in":  {"8 N·m", "71 lbf·in"},
		"1 kgf.m":    {"9.8 N·m", "87 lbf·in"},
		"5 kgf.m":    {"49 N·m", "36 lbf·ft"},
		"50 ozf.in":  {"0.4 N·m", "3 lbf·in"},
		"0 lbf.ft":   {"0 N·m", "0 lbf·ft"},
		"30 mm":      {"30 mm", ""},
		"90 deg":     {"90°", ""},
		"1/4 turn":   {"1/4 turn", ""},
		"10 %":       {"10 %", ""},
	} {
		q := specdata.MustQuantity(s)
		if got := specdata.Metric(q); got != want[0] {
			t.Errorf("Metric(%s) is %q, want %q", s, got, want[0])
		}
		if got := specdata.Imperial(q); got != want[1] {
			t.Errorf("Imperial(%s) is %q, want %q", s, got, want[1])
		}
	}
	var none specdata.Quantity
	if specdata.Display(none) != "" || specdata.Metric(none) != "" || specdata.Imperial(none) != "" {
		t.Errorf("an absent quantity shows as %q, %q, %q", specdata.Display(none), specdata.Metric(none), specdata.Imperial(none))
	}
}

// Pairs of whole numbers that US Army technical manuals print, lbf·ft and N·m, as
// collected in the trade notes: what is shown is what they print. They round values
// under 20 N·m to whole numbers, where the display shows halves, so those stand
// apart. Two of theirs are not the nearest whole number: 125 lbf·ft is 169.5 N·m and
// 325 lbf·ft is 440.6 N·m.
func TestDisplayAgainstPrintedPairs(t *testing.T) {
	for lbfft, nm := range map[string]string{
		"30": "41", "20": "27", "90": "122", "70": "95", "25": "34", "35": "47", "85": "115", "55": "75", "65": "88",
		"150": "203", "200": "271", "80": "108", "50": "68", "60": "81", "250": "339", "400": "542", "425": "576", "355": "481",
		"192": "260", "113": "153", "176": "239", "343": "465", "207": "281", "399": "541",
	} {
		if got := specdata.Metric(specdata.MustQuantity(lbfft + " lbf.ft")); got != nm+" N·m" {
			t.Errorf("%s lbf.ft shows as %s, printed %s", lbfft, got, nm)
		}
	}
}

// What is shown is the exact value rounded once to its step, ties away from zero.
func TestDisplayRoundsOnce(t *testing.T) {
	nm, ft, in := unit(t, "N.m"), unit(t, "lbf.ft"), unit(t, "lbf.in")
	rapid.Check(t, func(t *rapid.T) {
		q, err := specdata.ParseQuantity(rapid.StringMatching(`(0|[1-9][0-9]{0,3})(\.[0-9]{1,3})? (lbf\.ft|lbf\.in|kgf\.m|kgf\.cm|ozf\.in)`).Draw(t, "torque"))
		if err != nil {
			t.Fatal(err)
		}
		exact, _ := q.In(nm)
		step := big.NewRat(1, 10)
		if exact.Cmp(big.NewRat(20, 1)) >= 0 {
			step = big.NewRat(1, 1)
		} else if exact.Cmp(big.NewRat(10, 1)) >= 0 {
			step = big.NewRat(1, 2)
		}
		checkRounded(t, specdata.Metric(q), " N·m", exact, step)
		if q.Unit().Symbol == "lbf.ft" || q.Unit().Symbol == "lbf.in" {
			return // as printed
		}
		if exact, _ = q.In(ft); exact.Cmp(big.NewRat(10, 1)) >= 0 {
			checkRounded(t, specdata.Imperial(q), " lbf·ft", exact, big.NewRat(1, 1))
			return
		}
		exact, _ = q.In(in)
		checkRounded(t, specdata.Imperial(q), " lbf·in", exact, big.NewRat(1, 1))
	})
}

// The same for values worked out, among which are many that lie in the middle between
// two steps or a hair beside it.
func TestRoundOnTheMiddle(t *testing.T) {
	ft, in := unit(t, "lbf.ft").SI, unit(t, "lbf.in").SI
	beside := []*big.Rat{new(big.Rat), big.NewRat(1, 1_000_000_000), big.NewRat(-1, 1_000_000_000), big.NewRat(1, 1000), big.NewRat(-1, 1000)}
	rapid.Check(t, func(t *rapid.T) {
		value := big.NewRat(rapid.Int64Range(0, 40_000).Draw(t, "twentieths"), 20)
		value.Add(value, rapid.SampledFrom(beside).Draw(t, "beside"))
		if value.Sign() < 0 {
			return // a tie below zero goes the other way
		}
		step := big.NewRat(1, 10)
		if value.Cmp(big.NewRat(20, 1)) >= 0 {
			step = big.NewRat(1, 1)
		} else if value.Cmp(big.NewRat(10, 1)) >= 0 {
			step = big.NewRat(1, 2)
		}
		checkRounded(t, specdata.RoundMetric(value), " N·m", value, step)
		if value.Cmp(big.NewRat(10, 1)) >= 0 {
			checkRounded(t, specdata.RoundImperial(new(big.Rat).Mul(value, ft)), " lbf·ft", value, big.NewRat(1, 1))
		} else {
			inches := new(big.Rat).Mul(value, big.NewRat(12, 1))
			checkRounded(t, specdata.RoundImperial(new(big.Rat).Mul(inches, in)), " lbf·in", inches, big.NewRat(1, 1))
		}
	})
}

func checkRounded(t *rapid.T, shown, suffix string, exact, step *big.Rat) {
	number, ok := strings.CutSuffix(shown, suffix)
	value, parsed := new(big.Rat).SetString(number)
	if !ok || !parsed {
		t.Fatalf("shown as %q, want a number and %q", shown, suffix)
	}
	if !new(big.Rat).Quo(value, step).IsInt() {
		t.Fatalf("%s is no multiple of %s", shown, step)
	}
	twice := new(big.Rat).Sub(value, exact)
	twice.Mul(twice, big.NewRat(2, 1))
	// Half a step up is allowed (a tie), half a step down is not.
	if twice.Cmp(step) > 0 || twice.Cmp(new(big.Rat).Neg(step)) <= 0 {
		t.Fatalf("%s shows as %q in steps of %s", exact.FloatString(6), shown, step)
	}
}
