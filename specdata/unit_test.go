package specdata_test

import (
	"encoding/csv"
	"math/big"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"

	"proofload/specdata"
)

// outside maps the spellings of units.csv, and of GNU units, to ours.
var outside = map[string]string{
	"lbf": "lbf", "N": "N", "lbf*ft": "lbf.ft", "lbf*in": "lbf.in", "ozf*in": "ozf.in", "kgf*m": "kgf.m", "kgf*cm": "kgf.cm", "N*m": "N.m",
	"in": "in", "mm": "mm", "psi": "psi", "MPa": "MPa", "L": "L", "mL": "mL", "km": "km",
}

// factor returns the exact ratio of two of our units.
func factor(t testing.TB, from, to string) *big.Rat {
	t.Helper()
	r, err := specdata.MustQuantity("1 " + from).In(unit(t, to))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func unit(t testing.TB, symbol string) specdata.Unit {
	t.Helper()
	u, ok := specdata.LookupUnit(symbol)
	if !ok {
		t.Fatalf("unit %q does not exist", symbol)
	}
	return u
}

// The factors are those of testdata/reference/units.csv, computed there by GNU
// units from the exact definitions: exactly where the file says exact, to every
// digit printed where it prints a ratio or rounds.
func TestFactorsAgainstTheReference(t *testing.T) {
	f, err := os.Open("../testdata/reference/units.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, row := range rows[1:] {
		from, ok := outside[row[0]]
		to := outside[row[1]]
		if row[1] == "Pa" {
			to = "MPa"
		}
		if !ok || to == "" {
			continue // a unit that documents do not use
		}
		printed := row[2]
		want, ok := new(big.Rat).SetString(printed)
		if !ok {
			t.Fatalf("factor %q", printed)
		}
		got := factor(t, from, to)
		if row[1] == "Pa" {
			got = new(big.Rat).Mul(got, big.NewRat(1_000_000, 1))
		}
		checked++
		if row[3] == "yes" {
			if got.Cmp(want) != 0 {
				t.Errorf("1 %s is %s %s, want exactly %s (%s)", from, got.FloatString(30), row[1], printed, row[4])
			}
			continue
		}
		// Half of the last digit printed; ratios are cut off there, not rounded.
		places := 0
		if i := strings.IndexByte(printed, '.'); i >= 0 {
			places = len(printed) - i - 1
		}
		half := new(big.Rat).SetFrac(big.NewInt(5), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(places+1)), nil))
		if strings.HasPrefix(row[3], "rational") {
			want.Add(want, half)
		}
		if diff := new(big.Rat).Sub(got, want); diff.Abs(diff).Cmp(half) > 0 {
			t.Errorf("1 %s is %s %s, printed %s (%s)", from, got.FloatString(30), row[1], printed, row[4])
		}
	}
	if checked < 16 {
		t.Errorf("%d rows checked; the names no longer match", checked)
	}
}

// NIST SP 811, appendix B.8, seven digits, from memory.
func TestFactorsAgainstSP811(t *testing.T) {
	for _, tt := range []struct{ from, si, printed string }{
		{"lbf.ft", "N.m", "1.355818"}, {"lbf.in", "N.m", "0.1129848"}, {"ozf.in", "N.m", "0.007061552"}, {"kgf.m", "N.m", "9.80665"}, {"kgf.cm", "N.m", "0.0980665"},
		{"lbf", "N", "4.448222"}, {"in", "mm", "25.4"}, {"psi", "MPa", "0.006894757"},
	} {
		places := len(tt.printed) - strings.IndexByte(tt.printed, '.') - 1
		if got := strings.TrimRight(factor(t, tt.from, tt.si).FloatString(places), "0"); got != tt.printed {
			t.Errorf("1 %s is %s %s, SP 811 prints %s", tt.from, got, tt.si, tt.printed)
		}
	}
}

// GNU units gives a second opinion where it is installed.
func TestFactorsAgainstGNUUnits(t *testing.T) {
	path, err := exec.LookPath("units")
	if err != nil {
		t.Log("GNU units is not installed; the reference file stands alone")
		return
	}
	names := map[string]string{"N.m": "N m", "lbf.ft": "lbf ft", "lbf.in": "lbf inch", "kgf.m": "kgf m", "kgf.cm": "kgf cm", "ozf.in": "oz force inch", "in": "inch", "deg": "degree", "turn": "turn", "L": "liter", "mL": "milliliter", "%": "percent", "h": "hour", "min": "minute"}
	name := func(u specdata.Unit) string {
		if n, ok := names[u.Symbol]; ok {
			return n
		}
		return u.Symbol
	}
	for _, u := range specdata.Units {
		for _, v := range specdata.Units {
			if u.Dimension != v.Dimension {
				continue
			}
			out, err := exec.Command(path, "-t", "-o", "%.17g", name(u), name(v)).Output()
			if err != nil {
				t.Fatalf("units %s %s: %v %s", name(u), name(v), err, out)
			}
			want, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
			if err != nil {
				t.Fatal(err)
			}
			got, _ := factor(t, u.Symbol, v.Symbol).Float64()
			// It computes in doubles, a few steps of which may each be half a unit off.
			if diff := got/want - 1; diff > 1e-15 || diff < -1e-15 {
				t.Errorf("1 %s is %v %s, GNU units says %v", u.Symbol, got, v.Symbol, want)
			}
		}
	}
}

func TestUnitsAreConsistent(t *testing.T) {
	seen := map[string]bool{}
	for _, u := range specdata.Units {
		if seen[u.Symbol] || u.Symbol == "" || u.Display == "" || u.SI.Sign() <= 0 {
			t.Errorf("unit %+v", u)
		}
		seen[u.Symbol] = true
		if got, ok := specdata.LookupUnit(u.Symbol); !ok || got.Symbol != u.Symbol {
			t.Errorf("LookupUnit(%q) gives %v", u.Symbol, got)
		}
		if !slices.Contains(specdata.UnitsOf(u.Dimension), u.Symbol) {
			t.Errorf("UnitsOf(%s) lacks %s", u.Dimension, u.Symbol)
		}
		if strings.IndexFunc(u.Symbol, func(r rune) bool { return r > '~' || r <= ' ' }) >= 0 {
			t.Errorf("unit %q cannot be typed everywhere", u.Symbol)
		}
	}
}

// A suggestion is a unit that exists, and is never made for a word that means more
// than one thing: a pound may be a force, a mass or half of a torque.
func TestNearestUnit(t *testing.T) {
	for typed, want := range map[string]string{
		"Nm": "N.m", "nm": "N.m", "N m": "N.m", "N·m": "N.m", "N*m": "N.m", "newton metres": "N.m", "Nrn": "N.m",
		"ft-lb": "lbf.ft", "ft.lbs": "lbf.ft", "lb ft": "lbf.ft", "foot-pounds": "lbf.ft", "lbf·ft": "lbf.ft", "FT-LB": "lbf.ft",
		"in-lb": "lbf.in", "lb.in": "lbf.in", "kgm": "kgf.m", "kgf·cm": "kgf.cm", "oz-in": "ozf.in",
		"°": "deg", "Degrees": "deg", "inch": "in", "″": "in", "MM": "mm", " mm ": "mm", "percent": "%", "kn": "kN", "l": "L", "ml": "mL", "PSI": "psi",
		"lb": "", "lbs": "", "#": "", "kg": "kg", "pounds": "", "": "", "furlong": "",
	} {
		got := specdata.NearestUnit(typed)
		if got != want {
			t.Errorf("%q suggests %q, want %q", typed, got, want)
		}
		if _, ok := specdata.LookupUnit(got); got != "" && !ok {
			t.Errorf("%q suggests %q, which does not exist", typed, got)
		}
	}
}
