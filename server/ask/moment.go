package ask

import (
	"strconv"
	"strings"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// Moment says for when a read answers. The zero Moment names none: reading it is an
// error, so that a moment that was never set does not answer with the newest value.
type Moment struct {
	// At is the moment in the log.
	At store.At
	// Least is a position that the state read from has to include; 0 for none. Beside a
	// fixed moment it makes sure that a release just named is known where it is read.
	Least int64
}

// Newest returns the moment of the newest publication.
func Newest() Moment { return Moment{At: store.AtHead()} }

// NewestFrom returns the newest moment that includes a position.
func NewestFrom(least int64) Moment { return Moment{At: store.AtHead(), Least: least} }

// Position returns the moment of a position.
func Position(n int64) Moment { return Moment{At: store.AtPosition(n)} }

// At reads a moment as people write it: position:N, time:RFC3339 or release:NAME;
// "" is the newest.
func At(field, text string) (store.At, error) {
	how, what, _ := strings.Cut(text, ":")
	switch {
	case text == "":
		return store.AtHead(), nil
	case how == "position":
		if n, err := strconv.ParseInt(what, 10, 64); err == nil && n > 0 && strconv.FormatInt(n, 10) == what {
			return store.AtPosition(n), nil
		}
		return store.At{}, fault.Field(field, "%s %q names no position; positions count from 1, like position:12", field, Clip(text))
	case how == "time":
		t, err := time.Parse(time.RFC3339Nano, what)
		switch {
		case err != nil:
			return store.At{}, fault.Field(field, "%s %q names no time; write it like time:2026-09-14T08:00:00Z", field, Clip(text))
		case t.IsZero(): // what a program writes that never set its time
			return store.At{}, fault.Field(field, "%s %q is a time that was never set; write the time meant, or leave it out for the newest", field, Clip(text))
		}
		return store.AtTime(t), nil
	case how == "release":
		if store.ValidRelease(what) {
			return store.AtRelease(what), nil
		}
		return store.At{}, fault.Field(field, "%s %q names no release; write it like release:2026-10", field, Clip(text))
	}
	return store.At{}, fault.Field(field, "%s %q is not a moment; allowed: position:N, time:RFC3339, release:NAME", field, Clip(text))
}

// When reads the moment of a request in the field called so, and its min_position.
func When(field, text string, least int64) (Moment, error) {
	at, err := At(field, text)
	switch {
	case err != nil:
		return Moment{}, err
	case least < 0:
		return Moment{}, fault.Field("min_position", "min_position %d is negative; give a position from proofload-position, or leave it out", least)
	}
	return Moment{At: at, Least: least}, nil
}

// String returns the moment as a request writes it, "now" for the newest.
func (m Moment) String() string {
	if m.At.Head() {
		return "now"
	}
	return m.At.String()
}
