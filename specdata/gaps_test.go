package specdata_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofload/specdata"
)

// built reads "from..to" with open ends; "" is all builds.
func built(s string) *specdata.Built {
	if s == "" {
		return nil
	}
	var b specdata.Built
	for i, part := range splitRange(s) {
		if i == 0 {
			b.From = part
		} else {
			b.To = part
		}
	}
	return &b
}

func splitRange(s string) []string {
	for i := range len(s) - 1 {
		if s[i:i+2] == ".." {
			return []string{s[:i], s[i+2:]}
		}
	}
	return []string{s, s}
}

func ranges(ss ...string) []*specdata.Built {
	var bs []*specdata.Built
	for _, s := range ss {
		bs = append(bs, built(s))
	}
	return bs
}

func TestHoles(t *testing.T) {
	for _, c := range []struct {
		within string
		ranges []string
		want   string
	}{
		{"2014-01-06..2022-12-16", []string{"..2019-W26", "2019-W28.."}, "[2019-W27]"},
		{"2014-01-06..2022-12-16", []string{"..2019-W26", "2019-07-01.."}, "[]"},
		{"2014-01-06..2022-12-16", []string{"2015-01-01..2015-12-31"}, "[2014-01-06 to 2014-12-31 2016-01-01 to 2022-12-16]"},
		{"2014-01-06..2022-12-16", []string{""}, "[]"},
		{"", []string{"2019-W27.."}, "[up to 2019-W26]"},
		{"", []string{"..no 5", "no 8..no 9"}, "[no 6 to no 7 from no 10]"},
		{"no 1..no 9", nil, "[no 1 to no 9]"},
		{"no 1..no 9", []string{"no 3..no 4", "no 2..no 6"}, "[no 1 no 7 to no 9]"},
	} {
		got, ok := specdata.Holes(built(c.within), ranges(c.ranges...))
		if s := fmt.Sprint(got); !ok || s != c.want {
			t.Errorf("Holes(%s, %q) = %s, %v; want %s", c.within, c.ranges, s, ok, c.want)
		}
	}
	for _, c := range [][]string{{"no 1..no 9", "2019-W27.."}, {"2019-W27..", "no 1.."}, {"2019-W27..2019-W26"}, {"", "2019-W27..", "no 4.."}, {"", "nonsense.."}} {
		if got, ok := specdata.Holes(built(c[0]), ranges(c[1:]...)); ok {
			t.Errorf("Holes(%q) = %v; these cannot be compared", c, got)
		}
	}
}

func TestMeetAndHull(t *testing.T) {
	for _, c := range []struct{ a, b, meet, hull string }{
		{"..2019-W26", "2019-W20..", "2019-W20 to 2019-W26", "all builds"},
		{"2019-W01..2019-W02", "2019-W05..2019-W06", "-", "2019-W01 to 2019-W06"},
		{"", "no 4..no 5", "no 4 to no 5", "all builds"},
		{"no 4..no 5", "", "no 4 to no 5", "all builds"},
		{"no 4..no 5", "2019-W01..", "-", "-"},
		{"no 4..no 9", "no 2..no 5", "no 4 to no 5", "no 2 to no 9"},
	} {
		text := func(b *specdata.Built, ok bool) string {
			if !ok {
				return "-"
			}
			return b.String()
		}
		if got := text(built(c.a).Meet(built(c.b))); got != c.meet {
			t.Errorf("%s meets %s in %s, want %s", c.a, c.b, got, c.meet)
		}
		if got := text(specdata.Hull(ranges(c.a, c.b))); got != c.hull {
			t.Errorf("hull of %s and %s is %s, want %s", c.a, c.b, got, c.hull)
		}
	}
	if _, ok := specdata.Hull(nil); ok {
		t.Error("nothing has a hull")
	}
}

// Every day of a year is in one of the ranges or in one hole, and never in both.
func TestHolesPartition(t *testing.T) {
	day := func(n int) string { return time.Date(2019, 1, 1+n, 0, 0, 0, 0, time.UTC).Format(time.DateOnly) }
	rapid.Check(t, func(t *rapid.T) {
		within := &specdata.Built{From: day(0), To: day(364)}
		var rs []*specdata.Built
		for range rapid.IntRange(0, 6).Draw(t, "ranges") {
			from := rapid.IntRange(0, 364).Draw(t, "from")
			to := rapid.IntRange(from, 364).Draw(t, "to")
			rs = append(rs, &specdata.Built{From: day(from), To: day(to)})
		}
		holes, ok := specdata.Holes(within, rs)
		if !ok {
			t.Fatal("dates cannot be compared")
		}
		for n := range 365 {
			d := &specdata.Built{From: day(n), To: day(n)}
			in := func(bs []*specdata.Built) bool { return slices.ContainsFunc(bs, d.Within) }
			if in(rs) == in(holes) {
				t.Fatalf("day %s: in a range %v, in a hole %v", day(n), in(rs), in(holes))
			}
		}
	})
}
