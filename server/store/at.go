package store

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// ParseAt reads a moment as people write it: position:N, time:RFC3339 or
// release:NAME; "" is the head. The error, an ErrInvalid, says what is allowed.
func ParseAt(s string) (At, error) {
	how, what, _ := strings.Cut(s, ":")
	switch how {
	case "":
		if s == "" {
			return At{}, nil
		}
	case "position":
		n, err := strconv.ParseInt(what, 10, 64)
		if err != nil || n < 1 || strconv.FormatInt(n, 10) != what {
			return At{}, fmt.Errorf("moment %q: %w: positions count from 1, like position:12", s, ErrInvalid)
		}
		return At{Position: n}, nil
	case "time":
		t, err := time.Parse(time.RFC3339Nano, what)
		if err != nil || t.IsZero() {
			return At{}, fmt.Errorf("moment %q: %w: write a time like time:2026-09-14T08:00:00Z", s, ErrInvalid)
		}
		return At{Time: t}, nil
	case "release":
		if releaseForm.MatchString(what) {
			return At{Release: what}, nil
		}
		return At{}, fmt.Errorf("moment %q: %w: write a release by its name, like release:2026-10", s, ErrInvalid)
	}
	return At{}, fmt.Errorf("moment %q: %w: allowed: position:N, time:RFC3339, release:NAME", s, ErrInvalid)
}

// String gives the moment as ParseAt reads it.
func (a At) String() string {
	switch {
	case a.Position != 0:
		return "position:" + strconv.FormatInt(a.Position, 10)
	case !a.Time.IsZero():
		return "time:" + a.Time.Format(time.RFC3339Nano)
	case a.Release != "":
		return "release:" + a.Release
	}
	return ""
}
