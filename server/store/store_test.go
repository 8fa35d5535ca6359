package store_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"proofload/server/store"
)

func TestParseAt(t *testing.T) {
	noon := time.Date(2026, 9, 14, 12, 0, 0, 5, time.UTC)
	for s, want := range map[string]store.At{
		"": {}, "position:1": {Position: 1}, "position:9223372036854775807": {Position: 1<<63 - 1},
		"time:2026-09-14T12:00:00.000000005Z": {Time: noon}, "release:2026.1": {Release: "2026.1"},
	} {
		got, err := store.ParseAt(s)
		if err != nil || got != want || got.String() != s {
			t.Errorf("ParseAt(%q) gives %+v (%q), %v; want %+v", s, got, got.String(), err, want)
		}
	}
	// A time keeps its zone, and so its text.
	if got, err := store.ParseAt("time:2026-09-14T14:00:00+02:00"); err != nil || !got.Time.Equal(noon.Truncate(time.Second)) {
		t.Errorf("a time with a zone is %+v, %v", got, err)
	}
	for _, s := range []string{"12", ":", "position", "position:", "position:0", "position:-1", "position:01", "position:1 ", "position:99999999999999999999", "time:", "time:2026-09-14", "release:", "release:a b", "revision:3", "head"} {
		if got, err := store.ParseAt(s); !errors.Is(err, store.ErrInvalid) || !strings.Contains(err.Error(), s) {
			t.Errorf("ParseAt(%q) gives %+v, %v; want %v", s, got, err, store.ErrInvalid)
		}
	}
}

func FuzzParseAt(f *testing.F) {
	for _, s := range []string{"", "position:1", "time:2026-09-14T12:00:00Z", "release:r1", "x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		at, err := store.ParseAt(s)
		if err != nil {
			if !errors.Is(err, store.ErrInvalid) {
				t.Errorf("ParseAt(%q): %v", s, err)
			}
			return
		}
		if err := at.Validate(); err != nil {
			t.Errorf("ParseAt(%q) gives %+v: %v", s, at, err)
		}
		if again, err := store.ParseAt(at.String()); err != nil || again.Position != at.Position || again.Release != at.Release || !again.Time.Equal(at.Time) {
			t.Errorf("ParseAt(%q) gives %+v, which as %q is %+v, %v", s, at, at.String(), again, err)
		}
	})
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
