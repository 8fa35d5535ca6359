package joint

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"sort"
	"strconv"
	"strings"
	"testing"
)

// row is one row of a reference table by column name.
type row map[string]string

// rows reads a table of outside values; its source column stays with it.
func rows(t testing.TB, name string) []row {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []row
	for _, rec := range all[1:] {
		r := row{}
		for i, h := range all[0] {
			r[h] = rec[i]
		}
		out = append(out, r)
	}
	return out
}

// num reads a column; ok is false where it is empty.
func (r row) num(t testing.TB, col string) (float64, bool) {
	t.Helper()
	s, ok := r[col]
	if !ok {
		t.Fatalf("no column %q", col)
	}
	if s == "" {
		return 0, false
	}
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatalf("column %s: %v", col, err)
	}
	return f, true
}

// half is half a unit of the last digit a number is printed with.
func half(printed string) float64 {
	printed = strings.TrimPrefix(printed, "-")
	if i := strings.IndexByte(printed, '.'); i >= 0 {
		return 0.5 * math.Pow(10, -float64(len(printed)-i-1))
	}
	return 0.5
}

// third is half a unit of the third significant digit of a value.
func third(x float64) float64 { return 0.5 * math.Pow(10, math.Floor(math.Log10(x))-2) }

// tally counts what of one table was checked, and keeps the worst deviation.
type tally struct {
	t       *testing.T
	table   string
	rows    int
	values  int
	worst   float64 // relative
	worstAt string
	skipped map[string]int
	known   map[string]string // documented disagreements: row key to reason
	met     map[string]bool
}

func (y *tally) row()            { y.rows++ }
func (y *tally) skip(why string) { y.skipped[why]++ }

// disagrees documents a row in which table and formula are known to differ; it
// must still differ, or the note is stale.
func (y *tally) disagrees(at, why string) { y.known[at] = why }

// within checks one value against a printed one with an absolute tolerance.
func (y *tally) within(at string, got, want, tol float64) {
	y.t.Helper()
	y.values++
	dev := math.Abs(got-want) / math.Abs(want)
	bad := !(math.Abs(got-want) <= tol*(1+1e-9)+1e-12)
	if why, ok := y.known[at]; ok {
		y.met[at] = true
		if !bad {
			y.t.Errorf("%s: %s: documented as a disagreement (%s) but agrees: got %g, table %g", y.table, at, why, got, want)
		}
		return
	}
	if dev > y.worst {
		y.worst, y.worstAt = dev, at
	}
	if bad {
		y.t.Errorf("%s: %s: got %.6g, table %.6g, off by %.3g (%.2f %%), allowed %.3g", y.table, at, got, want, got-want, 100*dev, tol)
	}
}

// holds checks a fact that is not a number.
func (y *tally) holds(at string, ok bool) {
	y.t.Helper()
	y.values++
	if !ok {
		y.t.Errorf("%s: %s does not hold", y.table, at)
	}
}

func (y *tally) line() string {
	var sk []string
	n := 0
	for why, k := range y.skipped {
		sk = append(sk, fmt.Sprintf("%d: %s", k, why))
		n += k
	}
	sort.Strings(sk)
	s := fmt.Sprintf("%-34s %5d %7d %8.3f %%  %-30s", y.table, y.rows, y.values, 100*y.worst, y.worstAt)
	if n > 0 {
		s += fmt.Sprintf(" skipped %d (%s)", n, strings.Join(sk, "; "))
	}
	if len(y.known) > 0 {
		s += fmt.Sprintf(" documented disagreements %d", len(y.known))
	}
	return s
}
