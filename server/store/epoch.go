package store

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Epoch counts the histories of a library. It begins with 1; a restore that took back
// what was published raises it, because the positions behind it are given again.
type Epoch struct {
	Number int64 `json:"epoch"`
	// Position is where the restore left the history: up to it, it is the one of the
	// epoch before.
	Position int64     `json:"position"`
	Time     time.Time `json:"time"`
	// Lost is the highest position that was published in the epoch before, as far as known.
	Lost int64 `json:"lost"`
}

// ResumeID returns the resume point of a position: the position, and behind an @ the
// epoch where it is not the first.
func (e Epoch) ResumeID(position int64) string {
	id := strconv.FormatInt(position, 10)
	if e.Number > 1 {
		id += "@" + strconv.FormatInt(e.Number, 10)
	}
	return id
}

// ParseResumeID reads a resume point as ResumeID writes it.
func ParseResumeID(s string) (position, epoch int64, err error) {
	digits, of, other := strings.Cut(s, "@")
	epoch = 1
	if other {
		epoch, err = strconv.ParseInt(of, 10, 64)
	}
	if err == nil {
		position, err = strconv.ParseInt(digits, 10, 64)
	}
	if err != nil || position < 0 || epoch < 1 || (Epoch{Number: epoch}).ResumeID(position) != s {
		return 0, 0, fmt.Errorf("resume point %.40q: %w: write it as it was given, like 12 or 12@2", s, ErrInvalid)
	}
	return position, epoch, nil
}

// Reaches reports whether a position of an epoch is one of this epoch's history, too.
func (e Epoch) Reaches(position, epoch int64) bool {
	return epoch == max(e.Number, 1) || epoch == e.Number-1 && position <= e.Position
}
