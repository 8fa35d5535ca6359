package store_test

import (
	"errors"
	"testing"
	"time"

	"proofload/server/store"
)

// The zero At is no moment: a caller that forgot to set one is not shown the newest.
func TestAt(t *testing.T) {
	for _, c := range []struct {
		at   store.At
		text string
		ok   bool
	}{
		{store.AtHead(), "", true}, {store.AtPosition(3), "position:3", true}, {store.AtRelease("2026.1"), "release:2026.1", true},
		{store.AtTime(time.Date(2026, 9, 14, 12, 0, 0, 5, time.UTC)), "time:2026-09-14T12:00:00.000000005Z", true},
		{store.At{}, "none", false}, {store.AtPosition(-1), "position:-1", false}, {store.AtPosition(0), "position:0", false}, {store.AtTime(time.Time{}), "time:0001-01-01T00:00:00Z", false}, {store.AtRelease("a b"), "release:a b", false},
	} {
		if err := c.at.Validate(); (err == nil) != c.ok || err != nil && !errors.Is(err, store.ErrInvalid) || c.at.String() != c.text {
			t.Errorf("%q: got %q, %v", c.text, c.at, err)
		}
	}
}

func TestConflict(t *testing.T) {
	c := &store.Conflict{Name: "fasteners/a", Base: 1, Current: 3}
	if !errors.Is(c, store.ErrConflict) || errors.Is(c, store.ErrNotFound) {
		t.Error("a Conflict is ErrConflict and nothing else")
	}
	if want := "record fasteners/a is at revision 3, the change was made against 1; read it again and redo the change"; c.Error() != want {
		t.Errorf("it says %q, want %q", c, want)
	}
}
