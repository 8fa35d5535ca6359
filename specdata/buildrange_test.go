package specdata_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofload/specdata"
)

// Weeks are those of ISO 8601, for which Go's calendar is the outside answer: over
// 29 years, which hold every way a year can begin and be long, every day lies in its
// own week and in neither neighbour.
func TestWeeksAreISOWeeks(t *testing.T) {
	day := time.Date(1998, 12, 20, 0, 0, 0, 0, time.UTC)
	for ; day.Year() < 2028; day = day.AddDate(0, 0, 1) {
		d := &specdata.Built{From: day.Format(time.DateOnly), To: day.Format(time.DateOnly)}
		for _, days := range []int{-7, 0, 7} {
			year, week := day.AddDate(0, 0, days).ISOWeek()
			w := fmt.Sprintf("%04d-W%02d", year, week)
			b := &specdata.Built{From: w, To: w}
			if err := b.Check(); err != nil {
				t.Fatal(err)
			}
			if got := d.Within(b); got != (days == 0) {
				t.Fatalf("%s lies in %s: %v", d.From, w, got)
			}
		}
	}
}

// A year has week 53 when it begins or, being a leap year, its second day is a
// Thursday (ISO 8601); again Go's calendar says which.
func TestLastWeekOfTheYear(t *testing.T) {
	for year := 1900; year < 2300; year++ {
		_, last := time.Date(year, 12, 28, 0, 0, 0, 0, time.UTC).ISOWeek() // 28 December is always in the last week
		for week := range 60 {
			err := (&specdata.Built{To: fmt.Sprintf("%04d-W%02d", year, week)}).Check()
			if (err == nil) != (week >= 1 && week <= last) {
				t.Fatalf("week %d of %d, whose last is %d: %v", week, year, last, err)
			}
		}
	}
}

func TestBuiltCheck(t *testing.T) {
	for _, tt := range []struct{ from, to, want string }{
		{"", "", ""}, {"2019-06-30", "", ""}, {"", "2019-W26", ""}, {"2019-W26", "2019-W26", ""}, {"2019-07-01", "2019-W27", ""}, {"no 1", "no 1", ""}, {"no 120001", "", ""}, {"2020-02-29", "", ""},
		{"2019-02-29", "", "is not a calendar day"}, {"2019-13-01", "", "is not a calendar day"}, {"2019-W53", "", "names a week that year 2019 does not have"}, {"2019-W00", "", "does not have"},
		{"2021", "", "is not a day, a week or a production number"}, {"", "120001", "write 2019-06-30, 2019-W26"}, {"no 0", "", "write"}, {"no 01", "", "write"}, {"no 1234567890123", "", "write"},
		{"2019-W26-1", "", "write"}, {"2019-w26", "", "write"}, {"30.06.2019", "", "write"}, {"2019-06-30T00:00:00Z", "", "write"},
		{"2019-06-30", "2019-06-29", "ends before it begins; swap the ends"}, {"2019-W27", "2019-06-30", "ends before it begins"}, {"no 2", "no 1", "ends before it begins"},
		{"2019-06-30", "no 1", "mixes dates and production numbers"}, {"no 1", "2019-W26", "mixes dates and production numbers"},
		{strings.Repeat("x", 500), "", "write"},
	} {
		err := (&specdata.Built{From: tt.from, To: tt.to}).Check()
		if tt.want == "" != (err == nil) || err != nil && (!strings.Contains(err.Error(), tt.want) || len(err.Error()) > 300) {
			t.Errorf("%.40q to %q: %v; want %q", tt.from, tt.to, err, tt.want)
		}
	}
	if err := (*specdata.Built)(nil).Check(); err != nil {
		t.Errorf("no range: %v", err)
	}
}

// interval is the model: closed intervals of days or of numbers.
type interval struct {
	low, high int
	numbers   bool
	built     *specdata.Built
}

const always = 1 << 40

func intervals(label string) *rapid.Generator[interval] {
	return rapid.Custom(func(t *rapid.T) interval {
		i := interval{low: -always, high: always, built: &specdata.Built{}, numbers: rapid.Bool().Draw(t, label+" numbers")}
		write := func(n int) string {
			if i.numbers {
				return fmt.Sprintf("no %d", n)
			}
			return time.Unix(0, 0).UTC().AddDate(0, 0, n).Format(time.DateOnly)
		}
		a, b := rapid.IntRange(1, 40).Draw(t, label+" a"), rapid.IntRange(1, 40).Draw(t, label+" b")
		if rapid.IntRange(0, 3).Draw(t, label+" from") > 0 {
			i.low = min(a, b)
			i.built.From = write(i.low)
		}
		if rapid.IntRange(0, 3).Draw(t, label+" to") > 0 {
			i.high = max(a, b)
			i.built.To = write(i.high)
		}
		return i
	})
}

func TestBuiltLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := intervals("a").Draw(t, "a"), intervals("b").Draw(t, "b")
		whole := func(i interval) bool { return i.low == -always && i.high == always }
		apart := a.numbers != b.numbers && !whole(a) && !whole(b) // dates beside numbers
		overlap := a.low <= b.high && b.low <= a.high || apart
		if a.built.Overlaps(b.built) != overlap || b.built.Overlaps(a.built) != overlap {
			t.Fatalf("%s and %s overlap: %v", a.built, b.built, !overlap)
		}
		within := whole(b) || !whole(a) && !apart && b.low <= a.low && a.high <= b.high
		if a.built.Within(b.built) != within {
			t.Fatalf("%s within %s: %v", a.built, b.built, !within)
		}
		if a.built.Whole() != whole(a) {
			t.Fatalf("%s is whole: %v", a.built, !whole(a))
		}
		if n, ok := a.built.Gap(b.built); ok {
			if apart || n != int64(b.low-a.high-1) {
				t.Fatalf("gap between %s and %s is %d", a.built, b.built, n)
			}
			if !apart && n >= 0 && overlap {
				t.Fatalf("%s and %s overlap and have a gap of %d", a.built, b.built, n)
			}
		} else if !apart && a.numbers == b.numbers && a.high != always && b.low != -always {
			t.Fatalf("%s and %s have no gap", a.built, b.built)
		}
	})
}

// A week covers seven days at whichever end it stands.
func TestWeekEnds(t *testing.T) {
	week26 := &specdata.Built{To: "2019-W26"} // to Sunday 30 June 2019
	if n, ok := week26.Gap(&specdata.Built{From: "2019-07-01"}); n != 0 || !ok {
		t.Errorf("gap is %d", n)
	}
	if n, ok := week26.Gap(&specdata.Built{From: "2019-W28"}); n != 7 || !ok {
		t.Errorf("gap is %d, want the seven days of week 27", n)
	}
	if week26.Overlaps(&specdata.Built{From: "2019-W27"}) || !week26.Overlaps(&specdata.Built{From: "2019-06-30"}) {
		t.Error("week 26 does not end on its Sunday")
	}
}

func TestMalformedRangesMatchNothing(t *testing.T) {
	bad, good := &specdata.Built{From: "2021"}, &specdata.Built{}
	if bad.Overlaps(good) || good.Overlaps(bad) || bad.Within(good) || good.Within(bad) {
		t.Error("a malformed range matches something")
	}
	if _, ok := bad.Gap(good); ok {
		t.Error("a malformed range has a gap")
	}
}

func TestBuiltString(t *testing.T) {
	for want, b := range map[string]*specdata.Built{
		"all builds": nil, "from 2019-W26": {From: "2019-W26"}, "up to no 5": {To: "no 5"}, "no 5": {From: "no 5", To: "no 5"}, "no 5 to no 6": {From: "no 5", To: "no 6"},
	} {
		if got := b.String(); got != want {
			t.Errorf("%+v is %q, want %q", b, got, want)
		}
	}
}

func TestDate(t *testing.T) {
	d, err := specdata.Date("2026-09-14").Time()
	if err != nil || !d.Equal(time.Date(2026, 9, 14, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("%v %v", d, err)
	}
	for _, s := range []specdata.Date{"", "2026-9-14", "2026-02-30", "14.09.2026", "2026-09-14T00:00:00Z", specdata.Date(strings.Repeat("é", 500))} {
		if _, err := s.Time(); err == nil || !strings.Contains(err.Error(), "write it like 2026-09-14") || len(err.Error()) > 300 {
			t.Errorf("%.20q: %v", s, err)
		}
	}
}

func FuzzBuilt(f *testing.F) {
	for _, s := range []string{"2019-W26", "2019-06-30", "no 5", "2019", ""} {
		f.Add(s, s)
	}
	f.Fuzz(func(t *testing.T, from, to string) {
		b := &specdata.Built{From: from, To: to}
		err := b.Check()
		if err == nil && (!b.Overlaps(b) || !b.Within(b)) {
			t.Fatalf("%s is not in itself", b)
		}
		if err != nil && b.Overlaps(&specdata.Built{}) {
			t.Fatalf("%s is malformed and overlaps", b)
		}
	})
}
