package desk

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

// Where the store keeps what the desk knows; SpaceCorrections holds the corrections by id.
const (
	SpaceCorrections = "corrections"
	spaceAnswers     = "answers"
	spacePrints      = "prints"
	spaceReads       = "reads"
)

// maxCorrection is the largest correction that is kept, in bytes; an answer, which
// holds one, must fit into a note.
const maxCorrection = store.MaxNote - 64<<10

// idForm is the form of ids: the time to the millisecond, then chance.
var idForm = regexp.MustCompile(`^[0-9]{8}-[0-9]{6}-[0-9]{3}[a-z2-7]{5}$`)

var chance = base32.StdEncoding.WithPadding(base32.NoPadding)

// publicationKey begins the key of the publication of a correction.
const publicationKey = "correction/"

// newID returns an id that sorts by time and that nobody guesses.
func newID(now time.Time) string {
	var b [4]byte
	rand.Read(b[:]) // never fails, by its documentation
	return fmt.Sprintf("%s-%03d%s", now.Format("20060102-150405"), now.Nanosecond()/1e6, strings.ToLower(chance.EncodeToString(b[:]))[:5])
}

func notFound(id string) error {
	return fault.New(fault.CorrectionNotFound, "correction %q does not exist", specdata.Shorten(id)).With("correction", specdata.Shorten(id))
}

// Get returns a correction. The error is CorrectionNotFound where there is none.
func (d *Desk) Get(ctx context.Context, id string) (*Correction, error) {
	if !idForm.MatchString(id) {
		return nil, notFound(id)
	}
	n, err := d.follower.Store.GetNote(ctx, SpaceCorrections, id)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, notFound(id)
	case err != nil:
		return nil, err
	}
	return decode(n.Body, n.Version)
}

// PublishedBy returns the correction that published a revision, nil where there was none.
func (d *Desk) PublishedBy(ctx context.Context, r *store.Revision) (*Correction, error) {
	id, ok := strings.CutPrefix(r.Key, publicationKey)
	if !ok || !idForm.MatchString(id) {
		return nil, nil
	}
	c, err := d.Get(ctx, id)
	if err != nil && fault.From(err).Kind == fault.CorrectionNotFound {
		return nil, nil // a copy of the log alone has none
	}
	return c, err
}

func decode(body []byte, version int64) (*Correction, error) {
	c := &Correction{}
	if err := json.Unmarshal(body, c); err != nil {
		return nil, fmt.Errorf("correction: %w: %v", store.ErrCorrupt, err)
	}
	c.Version = version
	return c, nil
}

// written returns the note of a correction as its next version.
func (c *Correction) written() (store.NoteWrite, error) {
	body, err := json.Marshal(c)
	if err != nil {
		return store.NoteWrite{}, err
	}
	if len(body) > maxCorrection {
		return store.NoteWrite{}, fault.New(fault.LimitSize, "correction comes to %d bytes with its documents and findings; allowed: %d; split it into several", len(body), maxCorrection)
	}
	terms := []string{"state:" + string(c.State)}
	for _, d := range c.Drafts {
		terms = append(terms, "record:"+string(d.Name))
	}
	return store.NoteWrite{Space: SpaceCorrections, Key: c.ID, Base: c.Version, Terms: terms, Body: body, Time: c.Updated}, nil
}

// The bounds of a page.
const (
	// MaxPage is the most corrections that one page holds.
	MaxPage = 100
	// pageBytes ends a page early: corrections carry whole documents.
	pageBytes = 4 << 20
	batch     = 50
)

// List returns corrections, the newest first; state and record "" for all. A page may
// hold fewer than asked for while there are more: next is "" on the last only.
func (d *Desk) List(ctx context.Context, state State, record specdata.Name, page ask.Page) (cs []*Correction, next string, err error) {
	if _, err := ask.Word("state", string(state), States...); err != nil {
		return nil, "", err
	}
	pageSize, err := page.Limit(MaxPage)
	if err != nil {
		return nil, "", err
	}
	q := store.NoteQuery{Space: SpaceCorrections, Descending: true, Limit: batch}
	switch {
	case record != "": // few corrections are of one record, many in one state
		q.Term = "record:" + string(record)
	case state != "":
		q.Term = "state:" + string(state)
	}
	query := "corrections " + string(state) + " " + string(record)
	if page.Token != "" {
		c, err := d.pages.Cursor(query, page.Token)
		if err != nil {
			return nil, "", err
		}
		q.After = c.After
	}
	size := 0
	for {
		notes, err := d.follower.Store.ListNotes(ctx, q)
		if err != nil {
			return nil, "", err
		}
		for _, n := range notes {
			if len(cs) == pageSize || len(cs) > 0 && size+len(n.Body) > pageBytes {
				return cs, d.pages.Token(query, ask.Cursor{After: cs[len(cs)-1].ID}), nil
			}
			c, err := decode(n.Body, n.Version)
			if err != nil {
				return nil, "", err
			}
			if state == "" || c.State == state {
				cs = append(cs, c)
				size += len(n.Body)
			}
			q.After = n.Key
		}
		if len(notes) < q.Limit {
			return cs, "", nil
		}
	}
}
