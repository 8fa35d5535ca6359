package store_test

import (
	"testing"

	"proofload/server/store"
)

func TestResumeID(t *testing.T) {
	for _, c := range []struct {
		epoch, position int64
		want            string
	}{{1, 0, "0"}, {1, 12, "12"}, {0, 12, "12"}, {2, 12, "12@2"}, {31, 7, "7@31"}} {
		got := store.Epoch{Number: c.epoch}.ResumeID(c.position)
		position, epoch, err := store.ParseResumeID(got)
		if got != c.want || err != nil || position != c.position || epoch != max(c.epoch, 1) {
			t.Errorf("%+v: %q, read as %d of %d, %v", c, got, position, epoch, err)
		}
	}
	for _, s := range []string{"", "-1", "+1", "01", "1@", "1@1", "1@0", "1@-2", "1@02", "@2", "1@2@3", " 1", "x", "9223372036854775808"} {
		if _, _, err := store.ParseResumeID(s); err == nil {
			t.Errorf("%q is read", s)
		}
	}
}

func TestReaches(t *testing.T) {
	e := store.Epoch{Number: 3, Position: 5, Lost: 9}
	for _, c := range []struct {
		position, epoch int64
		want            bool
	}{{9, 3, true}, {5, 2, true}, {6, 2, false}, {1, 1, false}, {1, 4, false}} {
		if got := e.Reaches(c.position, c.epoch); got != c.want {
			t.Errorf("position %d of epoch %d: %v", c.position, c.epoch, got)
		}
	}
	if first := (store.Epoch{Number: 1}); !first.Reaches(7, 1) || first.Reaches(7, 2) {
		t.Error("the first epoch")
	}
}
