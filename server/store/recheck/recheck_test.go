package recheck_test

import (
	"strings"
	"testing"
	"time"

	"proofload/server/store/recheck"
	"proofload/specdata"
)

// What no sequence of publications leaves is named at the revision where it shows.
func TestOrder(t *testing.T) {
	type rev struct {
		name             specdata.Name
		number, position int64
		withdrawn        bool
		second           int64
	}
	good := []rev{{"a", 1, 1, false, 5}, {"b", 1, 1, false, 5}, {"a", 2, 2, true, 5}, {"a", 3, 3, false, 9}, {"b", 2, 4, false, 9}}
	for _, c := range []struct {
		what  string
		spoil func([]rev) []rev
		at    int
		says  string
	}{
		{"nothing", func(r []rev) []rev { return r }, -1, ""},
		{"a number left out", func(r []rev) []rev { r[3].number = 4; return r }, 3, "revision before it is 2"},
		{"a first that is no first", func(r []rev) []rev { r[0].number = 2; return r }, 0, "revision before it is 0"},
		{"a position left out", func(r []rev) []rev { r[4].position = 5; return r }, 4, "position 5 follows position 3"},
		{"a position that goes back", func(r []rev) []rev { r[4].position = 2; return r }, 4, "position 2 follows position 3"},
		{"a time that goes back", func(r []rev) []rev { r[4].second = 8; return r }, 4, "before that of the position before"},
		{"two times of one position", func(r []rev) []rev { r[1].second = 6; return r }, 1, "not its position's"},
		{"a withdrawal first", func(r []rev) []rev { r[1].withdrawn = true; return r }, 1, "withdraws what is not there"},
		{"a withdrawal twice", func(r []rev) []rev { r[3].withdrawn = true; return r }, 3, "withdraws what is not there"},
	} {
		var o recheck.Order
		at, said := -1, ""
		for i, r := range c.spoil(append([]rev{}, good...)) {
			if wrong := o.Next(r.name, r.number, r.position, r.withdrawn, time.Unix(r.second, 0)); len(wrong) > 0 && at < 0 {
				at, said = i, strings.Join(wrong, "; ")
			}
		}
		if at != c.at || !strings.Contains(said, c.says) {
			t.Errorf("%s: named at %d as %q, want %d, %q", c.what, at, said, c.at, c.says)
		}
	}
}
