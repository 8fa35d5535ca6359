package store

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"time"
	"unicode/utf8"

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
	for _, said := range append([]string{p.Reviewer, p.Reason, p.Key}, p.Authors...) {
		if !isText(said) {
			return fmt.Errorf("publication: %w: its author, reviewer, reason or key %.60q is not text; allowed: UTF-8 without the character zero", ErrInvalid, said)
		}
	}
	if err := validTime("publication", p.Time); err != nil {
		return err
	}
	seen := make(map[specdata.Name]struct{}, len(p.Changes))
	for _, c := range p.Changes {
		if _, err := specdata.ParseEntry(string(c.Name)); err != nil {
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
	if !isText(r.Note) || !isText(r.By) {
		return fmt.Errorf("release %s: %w: its note %.60q or who made it, %.60q, is not text; allowed: UTF-8 without the character zero", r.Name, ErrInvalid, r.Note, r.By)
	}
	return validTime("release "+r.Name, r.Time)
}

// isText says whether every engine keeps a text as it is.
func isText(s string) bool { return utf8.ValidString(s) && strings.IndexByte(s, 0) < 0 }

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

// The bounds of notes.
const (
	MaxTerms = 200
	MaxNote  = 8 << 20
)

var spaceForm = regexp.MustCompile(`^[a-z][a-z0-9-]{0,39}$`)

// ValidateNotes says what is not in order about writes of notes, or nil. The error
// is an ErrInvalid.
func ValidateNotes(writes []NoteWrite) error {
	type name struct{ space, key string }
	seen := make(map[name]struct{}, len(writes))
	for _, w := range writes {
		at := fmt.Sprintf("note %s/%.60q", w.Space, w.Key)
		n := name{w.Space, w.Key}
		if _, twice := seen[n]; twice {
			return fmt.Errorf("%s: %w: it is written twice at once; join the two writes", at, ErrInvalid)
		}
		seen[n] = struct{}{}
		switch {
		case !spaceForm.MatchString(w.Space):
			return fmt.Errorf("%s: %w: its space is %q; allowed: a lower-case word of up to 40 letters", at, ErrInvalid, w.Space)
		case w.Key == "" || len(w.Key) > MaxKey || !isText(w.Key):
			return fmt.Errorf("%s: %w: its key has %d bytes; allowed: 1 to %d of valid text", at, ErrInvalid, len(w.Key), MaxKey)
		case w.Base < AnyVersion:
			return fmt.Errorf("%s: %w: the write is against version %d; versions count from 1", at, ErrInvalid, w.Base)
		case w.Version < 0 || w.Version > 0 && w.Version <= w.Base:
			return fmt.Errorf("%s: %w: it is to get version %d, the write is against version %d; versions only grow", at, ErrInvalid, w.Version, w.Base)
		case len(w.Body) > MaxNote:
			return fmt.Errorf("%s: %w: it has %d bytes; allowed: %d", at, ErrInvalid, len(w.Body), MaxNote)
		case len(w.Terms) > MaxTerms:
			return fmt.Errorf("%s: %w: it has %d terms; allowed: %d", at, ErrInvalid, len(w.Terms), MaxTerms)
		}
		for _, t := range w.Terms {
			if t == "" || len(t) > MaxKey || !isText(t) {
				return fmt.Errorf("%s: %w: its term %.60q has %d bytes; allowed: 1 to %d of valid text", at, ErrInvalid, t, len(t), MaxKey)
			}
		}
		if err := validTime(at, w.Time); err != nil {
			return err
		}
	}
	return nil
}

// Validate says what is not in order about a query of notes, or nil. The error is
// an ErrInvalid.
func (q NoteQuery) Validate() error {
	switch {
	case !spaceForm.MatchString(q.Space):
		return fmt.Errorf("query of notes: %w: space %q; allowed: a lower-case word of up to 40 letters", ErrInvalid, q.Space)
	case !isText(q.Term) || !isText(q.After):
		return fmt.Errorf("query of notes: %w: term %.60q or after %.60q is not text; allowed: UTF-8 without the character zero", ErrInvalid, q.Term, q.After)
	}
	return ValidLimit(q.Limit)
}
