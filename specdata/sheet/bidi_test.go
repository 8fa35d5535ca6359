package sheet

import (
	"strings"
	"testing"
)

// Capital letters stand for Hebrew ones, as in the examples of UAX #9, section 3.4
// (first and fourth; the rest follow its rules N0, N1 and W7 by hand).
func TestVisual(t *testing.T) {
	hebrew := func(s string) string {
		return strings.Map(func(r rune) rune {
			if 'A' <= r && r <= 'Z' {
				return r - 'A' + 'א'
			}
			return r
		}, s)
	}
	for _, c := range []struct {
		stored, shown string
		rtl           bool
	}{
		{"car means CAR.", "car means RAC.", false},
		{"plain text, 110 N", "plain text, 110 " + "N", false},
		{"IT IS A bmw 500, OK.", ".KO ,bmw 500 A SI TI", true},
		{"bolt ABC 123 DEF end", "bolt FED 123 CBA end", false},
		{"bolt ABC (DEF) end", "bolt (FED) CBA end", false},
		{"bolt (ABC) end", "bolt (CBA) end", false},
		{"ABC 1.5 DEF", "FED 1.5 CBA", true},
		{"ABC 10% DEF", "FED 10% CBA", true},
		{"left: ABC", "left: CBA", false},
		{"ABC 62 n·m", "n·m 62 CBA", true},
		{"ABC m12x1.25 DEF", "FED m12x1.25 CBA", true},
		{"ABC 62-64 DEF", "FED 62-64 CBA", true},
	} {
		stored, want := hebrew(c.stored), hebrew(c.shown)
		if c.stored == "plain text, 110 N" {
			stored, want = c.stored, c.shown
		}
		if got, rtl := visual(stored); got != want || rtl != c.rtl {
			t.Errorf("%s is shown %q, %v; want %q, %v", c.stored, got, rtl, want, c.rtl)
		}
	}
}
