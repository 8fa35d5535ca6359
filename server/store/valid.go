package store

import (
	"fmt"
	"math"
	"regexp"
	"time"

	"proofload/specdata"
)

// The times a store can keep: nanoseconds since 1970 in 64 bits.
var (
	firstTime = time.Unix(0, math.MinInt64)
	lastTime  = time.Unix(0, math.MaxInt64)
)

// MaxKey is the longest key of a publication, in bytes.
const MaxKey = 200

// Validate says what is not in order about a publication before any record is
// looked at, or nil. The error is an ErrInvalid.
func (p Publication) Validate() error {
	if len(p.Changes) == 0 {
		return fmt.Errorf("publication: %w: it changes nothing; give at least one change", ErrInvalid)
	}
	if len(p.Key) > MaxKey {
		return fmt.Errorf("publication: %w: its key has %d bytes; allowed: %d", ErrInvalid, len(p.Key), MaxKey)
	}
	if err := validTime("publication", p.Time); err != nil {
		return err
	}
	seen := make(map[specdata.Name]struct{}, len(p.Changes))
	for _, c := range p.Changes {
		if _, err := specdata.ParseName(string(c.Name)); err != nil {
			return fmt.Errorf("publication: %w: %v", ErrInvalid, err)
		}
		if _, twice := seen[c.Name]; twice {
			return fmt.Errorf("publication: %w: it changes %s twice; join the two changes", ErrInvalid, c.Name)
		}
		seen[c.Name] = struct{}{}
		if c.Base < 0 {
			return fmt.Errorf("publication: %w: the change of %s is against revision %d; revisions count from 1, 0 is for a new record", ErrInvalid, c.Name, c.Base)
		}
	}
	return nil
}

// Validate says what is not in order about a query, or nil. The error is an ErrInvalid.
func (q Query) Validate() error {
	if q.Kind.Collection() == "" {
		return fmt.Errorf("query: %w: kind %q does not exist; allowed: vehicle, fastener, assembly, procedure, source", ErrInvalid, q.Kind)
	}
	if q.After != "" && q.Before != "" {
		return fmt.Errorf("query: %w: it lists both after %q and before %q; give one", ErrInvalid, q.After, q.Before)
	}
	return ValidLimit(q.Limit)
}

// ValidLimit says whether a read may give so many at most. The error is an ErrInvalid.
func ValidLimit(n int) error {
	if n < 1 || n > MaxLimit {
		return fmt.Errorf("limit %d: %w: allowed: 1 to %d", n, ErrInvalid, MaxLimit)
	}
	return nil
}

var releaseForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$`)

// Validate says what is not in order about a release, or nil. The error is an ErrInvalid.
func (r Release) Validate() error {
	if !releaseForm.MatchString(r.Name) {
		return fmt.Errorf("release %q: %w: a name is up to 80 letters, digits, points, hyphens and underscores, and begins with a letter or digit", r.Name, ErrInvalid)
	}
	if r.Position < 1 {
		return fmt.Errorf("release %s: %w: position %d; positions count from 1", r.Name, ErrInvalid, r.Position)
	}
	return validTime("release "+r.Name, r.Time)
}

// Validate says what is not in order about a moment, or nil. The error is an ErrInvalid.
func (a At) Validate() error {
	n := 0
	if a.Position != 0 {
		n++
	}
	if !a.Time.IsZero() {
		n++
	}
	if a.Release != "" {
		n++
	}
	if n > 1 {
		return fmt.Errorf("moment: %w: it is given in %d ways; give a position, a time or a release", ErrInvalid, n)
	}
	if a.Position < 0 {
		return fmt.Errorf("moment: %w: position %d; positions count from 1", ErrInvalid, a.Position)
	}
	return nil
}

func validTime(what string, t time.Time) error {
	if t.IsZero() {
		return fmt.Errorf("%s: %w: it has no time; say when it is made", what, ErrInvalid)
	}
	if t.Before(firstTime) || t.After(lastTime) {
		return fmt.Errorf("%s: %w: time %s; allowed: %d to %d", what, ErrInvalid, t.UTC().Format(time.RFC3339), firstTime.UTC().Year()+1, lastTime.UTC().Year()-1)
	}
	return nil
}

// ValidSearch says whether a search may be for a kind, "" for all, and give so many
// at most. The error is an ErrInvalid.
func ValidSearch(kind specdata.Kind, limit int) error {
	if kind != "" && kind.Collection() == "" {
		return fmt.Errorf("search: %w: kind %q does not exist; allowed: vehicle, fastener, assembly, procedure, source, or none for all", ErrInvalid, kind)
	}
	return ValidLimit(limit)
}
