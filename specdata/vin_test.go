package specdata_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"proofload/specdata"
)

// The outside values are in testdata/reference/vehicle_ids.csv, each row with its
// source: 49 CFR 565 (2000 edition, tables III to V) for values, weights and the
// worked sum; the rows marked memory or computed say so there.
func vehicleIDs(t *testing.T) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "reference", "vehicle_ids.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// check returns what is computed for a number of which all but one character are 0.
func check(t *testing.T, c byte, position int) string {
	t.Helper()
	vin := []byte("00000000000000000")
	vin[position-1] = c
	digit, _, err := specdata.VINCheckDigit(string(vin))
	if err != nil {
		t.Fatalf("%s: %v", vin, err)
	}
	return string(digit)
}

func remainder(n int) string { return string("0123456789X"[n%11]) }

func TestVINAgainstReference(t *testing.T) {
	letters, weights, strs := 0, map[int]int{}, 0
	computed := regexp.MustCompile(`check digit computed ([0-9X]), position 9 is (.): (in)?valid`)
	for _, r := range vehicleIDs(t) {
		fact, value, note := r[0], r[1], r[2]
		switch {
		case strings.HasPrefix(fact, "transliteration "):
			letters++
			n, err := strconv.Atoi(value)
			if err != nil {
				t.Fatal(err)
			}
			// Position 10 weighs 9, which has an inverse modulo 11, so that every value shows.
			if got := check(t, fact[len(fact)-1], 10); got != remainder(9*n) {
				t.Errorf("letter %s counts wrong: computed %s for %d at weight 9", fact, got, n)
			}
		case strings.HasPrefix(fact, "weight position "):
			i, err := strconv.Atoi(strings.TrimPrefix(fact, "weight position "))
			if err != nil {
				t.Fatal(err)
			}
			w, err := strconv.Atoi(value)
			if err != nil {
				t.Fatal(err)
			}
			weights[i] = w
			if got := check(t, '1', i); got != remainder(w) {
				t.Errorf("weight of position %d: computed %s, the table has %d", i, got, w)
			}
		case computed.MatchString(note):
			strs++
			m := computed.FindStringSubmatch(note)
			digit, arithmetic, err := specdata.VINCheckDigit(value)
			if err != nil || string(digit) != m[1] || string(value[8]) != m[2] || (value[8] == digit) == (m[3] == "in") {
				t.Errorf("%s: computed %c (%s, %v); the table says %s", value, digit, arithmetic, err, note)
			}
		}
	}
	if letters != 23 || len(weights) != specdata.VINLength || strs < 4 {
		t.Errorf("the reference gave %d letters, %d weights and %d strings; 23, 17 and at least 4 were there when this was written", letters, len(weights), strs)
	}
}

// The worked sum of 49 CFR 565 table V: assigned values 1 7 4 1 8 5 9 8 _ 5 7 1 1 8
// 3 4 1, sum 411, check digit 4. Digits stand for themselves, so they can be written down.
func TestVINWorkedSum(t *testing.T) {
	digit, arithmetic, err := specdata.VINCheckDigit("17418598057118341")
	if err != nil || digit != '4' || !strings.Contains(arithmetic, "= 411;") {
		t.Errorf("computed %c, %q, %v; the rule prints 411 and 4", digit, arithmetic, err)
	}
}

func TestVINForms(t *testing.T) {
	for _, c := range []struct {
		pattern string
		check   bool
		err     string
	}{
		{"TZ9T3S***********", false, ""},
		{"TZ9T3S**X********", true, ""},
		{"TZ9T3S*********", false, "it has 15 characters, a vehicle identification number has 17"},
		{"TZ9O3S***********", false, "position 4 is 'O'; I, O and Q are not used"},
		{"tZ9T3S***********", false, "position 1 is 't'; write capitals"},
		{"TZ9T3S**-********", false, "position 9 is '-'; allowed: 0 to 9 and A to Z without I, O and Q"},
		{"TZ9T3S**A********", true, "position 9 is 'A', but the check digit"},
		{"TZ9T3S**A********", false, ""},
		{"ÄZ9T3S***********", false, "position 1 is 'Ä'"},
	} {
		err := specdata.CheckVINPattern(c.pattern, c.check)
		if (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("pattern %s, check digit %v: %v, want %q", c.pattern, c.check, err, c.err)
		}
	}
	if err := specdata.CheckVIN("TZ9T3S***********"); err == nil {
		t.Error("a pattern passes for a number")
	}
	if _, _, err := specdata.VINCheckDigit("TZ9T3S"); err == nil {
		t.Error("a check digit is computed for six characters")
	}
	if i, ok := specdata.FitsVINPattern("TZ9B3S00000000001", "TZ9T3S***********"); ok || i != 4 {
		t.Errorf("differs in %d, %v; want 4", i, ok)
	}
	if _, ok := specdata.FitsVINPattern("TZ9T3S00000000001", "TZ9T3S***********"); !ok {
		t.Error("the number does not fit its pattern")
	}
	if _, ok := specdata.FitsVINPattern("TZ9", "TZ9T3S***********"); ok {
		t.Error("a short number fits")
	}
}

func FuzzVIN(f *testing.F) {
	for _, r := range []string{"11111111111111111", "TZ9T3S***********", "ÄÖ", "", "IOQ4567890123456\xff"} {
		f.Add(r)
	}
	f.Fuzz(func(t *testing.T, s string) {
		digit, _, err := specdata.VINCheckDigit(s)
		if (err == nil) != (specdata.CheckVIN(s) == nil) {
			t.Fatalf("%q: %v", s, err)
		}
		if err != nil {
			return
		}
		// Position 9 does not count, so the number with the digit put in agrees with itself.
		whole := s[:8] + string(digit) + s[9:]
		if again, _, err := specdata.VINCheckDigit(whole); err != nil || again != digit {
			t.Fatalf("%q: %c, then %c, %v", s, digit, again, err)
		}
		if err := specdata.CheckVINPattern(whole, true); err != nil {
			t.Fatalf("%q: %v", whole, err)
		}
	})
}
