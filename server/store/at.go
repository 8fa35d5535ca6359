package store

import (
	"fmt"
	"time"
)

// At names a moment of the log. Exactly one field is set. The zero At names none and
// every store refuses it, so that a moment that was never set, or a time.Time that
// was not, is not taken for the newest state.
type At struct {
	// Head is the newest publication.
	Head bool
	// Position counts publications from 1.
	Position int64
	// Time is that of the last publication no later.
	Time time.Time
	// Release is the name of one.
	Release string
}

// Validate returns what is wrong with a moment, or nil. The error is an ErrInvalid.
func (a At) Validate() error {
	n := 0
	for _, set := range []bool{a.Head, a.Position != 0, !a.Time.IsZero(), a.Release != ""} {
		if set {
			n++
		}
	}
	switch {
	case n != 1:
		return fmt.Errorf("moment: %w: it is given in %d ways; give the head, a position, a time or a release", ErrInvalid, n)
	case a.Position < 0:
		return fmt.Errorf("moment: %w: position %d; positions count from 1", ErrInvalid, a.Position)
	case a.Release != "" && !ValidRelease(a.Release):
		return fmt.Errorf("moment: %w: %.90q is no name of a release", ErrInvalid, a.Release)
	}
	return nil
}

// ValidRelease reports whether a release may have a name.
func ValidRelease(name string) bool { return releaseForm.MatchString(name) }

// String returns the moment as requests write it: "" for the head, position:N,
// time:RFC3339, release:NAME, and "none" for the zero At.
func (a At) String() string {
	switch {
	case a.Head:
		return ""
	case a.Position != 0:
		return fmt.Sprintf("position:%d", a.Position)
	case !a.Time.IsZero():
		return "time:" + a.Time.Format(time.RFC3339Nano)
	case a.Release != "":
		return "release:" + a.Release
	}
	return "none"
}
