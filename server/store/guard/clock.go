package guard

import (
	"fmt"
	"time"

	"proofload/server/store"
)

// The bounds within which a clock is believed. Times of publications never go back, so
// one publication by a clock that is a year ahead spoils the times of a year.
const (
	// ahead is how far a publication's time may be ahead of the clock, and how far the
	// clock may have jumped since the server started.
	ahead = 5 * time.Minute
	// silence is how long nothing may have happened before somebody has to look at the
	// clock.
	silence = 400 * 24 * time.Hour
)

// clock judges times.
type clock struct {
	// began is when the server started, steady the same by the system's steady clock,
	// which nobody sets.
	began, steady time.Time
	// doubt says why the clock is not believed from the start, "" where it is.
	doubt string

	keptPosition int64
	keptAt       time.Time
}

// newClock begins with the time of the newest publication and when the mark was kept
// last, both zero where there is none.
func newClock(now, newest, kept time.Time, checked bool) clock {
	c := clock{began: now.Round(0), steady: time.Now()}
	last := newest
	if kept.After(last) {
		last = kept
	}
	if !last.IsZero() && !checked && now.Sub(last) > silence {
		c.doubt = fmt.Sprintf("the clock says %s, and the last that happened here was on %s; set the clock, or start with --clock-checked if it is right", now.UTC().Format(time.DateTime), last.UTC().Format(time.DateOnly))
	}
	return c
}

// check returns an ErrInvalid for a publication whose time is not to be believed.
func (c *clock) check(now, published time.Time) error {
	if c.doubt != "" {
		return fmt.Errorf("publication: %w: %s", store.ErrInvalid, c.doubt)
	}
	if jump := now.Round(0).Sub(c.began) - time.Since(c.steady); jump > ahead {
		return fmt.Errorf("publication: %w: the clock was set %s forward since the server started; set it right, or start the server again if it is", store.ErrInvalid, jump.Round(time.Second))
	}
	if d := published.Sub(now); d > ahead {
		return fmt.Errorf("publication: %w: its time is %s in the future; times of publications never go back, so it is not kept", store.ErrInvalid, d.Round(time.Second))
	}
	return nil
}
