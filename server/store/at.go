package store

import (
	"fmt"
	"time"
)

// At names a moment of the log, in one way: AtHead, AtPosition, AtTime and AtRelease make
// one. The zero At names none and every store refuses it, so that a moment that was never
// set is not taken for the newest state.
type At struct {
	by       by
	position int64
	time     time.Time
	release  string
}

type by uint8

const (
	byNothing by = iota
	byHead
	byPosition
	byTime
	byRelease
)

// AtHead returns the moment of the newest publication.
func AtHead() At { return At{by: byHead} }

// AtPosition returns the moment of a publication; positions count from 1.
func AtPosition(n int64) At { return At{by: byPosition, position: n} }

// AtTime returns the moment of the last publication no later than a time.
func AtTime(t time.Time) At { return At{by: byTime, time: t} }

// AtRelease returns the moment of a release.
func AtRelease(name string) At { return At{by: byRelease, release: name} }

// Head reports whether the moment is that of the newest publication.
func (a At) Head() bool { return a.by == byHead }

// Position returns the position that the moment is named by, false for another name.
func (a At) Position() (n int64, ok bool) { return a.position, a.by == byPosition }

// Time returns the time that the moment is named by, false for another name.
func (a At) Time() (t time.Time, ok bool) { return a.time, a.by == byTime }

// Release returns the release that the moment is named by, false for another name.
func (a At) Release() (name string, ok bool) { return a.release, a.by == byRelease }

// Validate returns what is wrong with a moment, or nil. The error is an ErrInvalid.
func (a At) Validate() error {
	switch {
	case a.by == byNothing:
		return fmt.Errorf("moment: %w: none is given; give the head, a position, a time or a release", ErrInvalid)
	case a.by == byPosition && a.position < 1:
		return fmt.Errorf("moment: %w: position %d; positions count from 1", ErrInvalid, a.position)
	case a.by == byTime && a.time.IsZero():
		return fmt.Errorf("moment: %w: its time was never set", ErrInvalid)
	case a.by == byRelease && !ValidRelease(a.release):
		return fmt.Errorf("moment: %w: %.90q is no name of a release", ErrInvalid, a.release)
	}
	return nil
}

// ValidRelease reports whether a release may have a name.
func ValidRelease(name string) bool { return releaseForm.MatchString(name) }

// String returns the moment as requests write it: "" for the head, position:N,
// time:RFC3339, release:NAME, and "none" for the zero At.
func (a At) String() string {
	switch a.by {
	case byHead:
		return ""
	case byPosition:
		return fmt.Sprintf("position:%d", a.position)
	case byTime:
		return "time:" + a.time.Format(time.RFC3339Nano)
	case byRelease:
		return "release:" + a.release
	}
	return "none"
}
