package desk

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

// Narration is a reference to a recording in which values are said: where it is, what it
// shows and when which value is said. Its words are not kept.
type Narration struct {
	ID        string        `json:"id"`
	Procedure specdata.Name `json:"procedure"`
	// Reference says where the recording is, File what its transcript was called, Hash
	// is the SHA-256 of the transcript, lower-case hex.
	Reference string   `json:"reference"`
	File      string   `json:"file"`
	Hash      string   `json:"hash"`
	Vehicle   string   `json:"vehicle,omitempty"`
	Options   []string `json:"options,omitempty"`
	Side      string   `json:"side,omitempty"`
	// Position is that of the library it was checked against.
	Position int64         `json:"position"`
	Values   []SpokenValue `json:"values,omitempty"`
	Errors   int           `json:"errors,omitempty"`
	Warnings int           `json:"warnings,omitempty"`
	By       string        `json:"by"`
	Created  time.Time     `json:"created"`
}

// SpokenValue is a value of a fastener that was said; Start and End are seconds.
type SpokenValue struct {
	Fastener specdata.Name `json:"fastener"`
	// Revision is that of the fastener whose value was said.
	Revision int64   `json:"revision"`
	Stage    int     `json:"stage"`
	Start    float64 `json:"start"`
	End      float64 `json:"end"`
	Said     string  `json:"said"`
}

// ReachedNarration is a kept narration in which an old value is said.
type ReachedNarration struct {
	ID        string        `json:"id"`
	Procedure specdata.Name `json:"procedure"`
	Reference string        `json:"reference"`
	By        string        `json:"by,omitempty"`
	Values    []SpokenValue `json:"values"`
}

const spaceNarrations = "narrations"

// The bounds of a kept narration.
const (
	maxReference = 500
	maxSpoken    = 10_000
)

func narrationNotFound(id string) error {
	return fault.New(fault.NarrationNotFound, "narration %q does not exist", specdata.Shorten(id)).With("narration", specdata.Shorten(id))
}

// KeepNarration keeps a narration and returns it as it is kept. The same request id of
// the same person keeps one narration a day.
func (d *Desk) KeepNarration(ctx context.Context, n Narration, request string) (*Narration, error) {
	switch {
	case strings.TrimSpace(n.Reference) == "" || len(n.Reference) > maxReference || !utf8.ValidString(n.Reference) || strings.ContainsFunc(n.Reference, func(r rune) bool { return r < ' ' }):
		return nil, fault.Field("narration.reference", "reference %q has %d bytes; allowed: 1 to %d of plain text that says where the recording is", specdata.Shorten(n.Reference), len(n.Reference), maxReference)
	case specdata.UnseenError("reference", n.Reference) != nil:
		return nil, fault.Field("narration.reference", "%v", specdata.UnseenError("reference", n.Reference))
	case !pointsPlainly(n.Reference):
		return nil, fault.Field("narration.reference", "reference %q is no place of a recording; allowed: an address that begins with https:// or http://, or a plain name like \"shelf 3, tape 12\"", specdata.Shorten(n.Reference))
	case specdata.UnseenError("file", n.File) != nil:
		return nil, fault.Field("narration.file", "%v", specdata.UnseenError("file", n.File))
	case n.File != "" && (strings.ContainsAny(n.File, "/\\:") || n.File == "." || n.File == ".."):
		return nil, fault.Field("narration.file", "file %q is no plain name; allowed: the name of the transcript without its folders, like hub.vtt", specdata.Shorten(n.File))
	case len(n.Values) > maxSpoken:
		return nil, fault.Field("narration.text", "narration says %d values; allowed: %d", len(n.Values), maxSpoken)
	}
	names := map[specdata.Name]bool{n.Procedure: true}
	for _, v := range n.Values {
		names[v.Fastener] = true
	}
	if len(names) > store.MaxTerms {
		return nil, fault.Field("narration.text", "narration says values of %d records; allowed: %d", len(names)-1, store.MaxTerms-1)
	}
	n.Created = d.now().UTC()
	n.ID = newID(n.Created)
	if request != "" {
		n.ID = ofRequest(n.Created, n.By, request)
	}
	body, err := json.Marshal(n)
	if err != nil {
		return nil, err
	}
	w := store.NoteWrite{Space: spaceNarrations, Key: n.ID, Base: 0, Body: body, Time: n.Created}
	for _, name := range slices.Sorted(maps.Keys(names)) {
		w.Terms = append(w.Terms, string(name))
	}
	err = d.follower.Store.WriteNotes(ctx, []store.NoteWrite{w})
	if errors.Is(err, store.ErrConflict) { // the same request before
		return d.Narration(ctx, n.ID)
	}
	if err != nil {
		return nil, err
	}
	return &n, nil
}

// pointsPlainly reports whether a reference is an http address or a name, which no
// program takes for a script or a way out of a folder.
func pointsPlainly(reference string) bool {
	u, err := url.Parse(reference)
	if err == nil && (u.Scheme == "http" || u.Scheme == "https") {
		return u.Hostname() != "" && u.User == nil
	}
	scheme, _, found := strings.Cut(strings.TrimSpace(reference), ":")
	if found && !strings.ContainsAny(scheme, " ,;") {
		return false
	}
	return !slices.Contains(strings.FieldsFunc(reference, func(c rune) bool { return c == '/' || c == '\\' }), "..")
}

// ofRequest returns the id that a request id of a person gets on a day.
func ofRequest(now time.Time, by, request string) string {
	sum := sha256.Sum256([]byte(by + "\x00" + request))
	return now.Format("20060102") + "-000000-000" + strings.ToLower(chance.EncodeToString(sum[:]))[:5]
}

// Narration returns a kept narration. The error is NarrationNotFound where there is none.
func (d *Desk) Narration(ctx context.Context, id string) (*Narration, error) {
	if !idForm.MatchString(id) {
		return nil, narrationNotFound(id)
	}
	note, err := d.follower.Store.GetNote(ctx, spaceNarrations, id)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, narrationNotFound(id)
	case err != nil:
		return nil, err
	}
	return narrationOf(note)
}

func narrationOf(note *store.Note) (*Narration, error) {
	var n Narration
	if err := json.Unmarshal(note.Body, &n); err != nil {
		return nil, fmt.Errorf("narration %s: %w: %v", note.Key, store.ErrCorrupt, err)
	}
	return &n, nil
}

// Narrations lists kept narrations, the newest first, of a procedure or of a fastener
// whose value is said; record "" lists all. next is where the next page goes on, "" on the last.
func (d *Desk) Narrations(ctx context.Context, record string, limit int, after string) (list []*Narration, next string, err error) {
	notes, err := d.follower.Store.ListNotes(ctx, store.NoteQuery{Space: spaceNarrations, Term: record, After: after, Descending: true, Limit: limit + 1})
	if err != nil {
		return nil, "", err
	}
	for i, note := range notes {
		if i == limit {
			return list, notes[limit-1].Key, nil
		}
		n, err := narrationOf(note)
		if err != nil {
			return nil, "", err
		}
		list = append(list, n)
	}
	return list, "", nil
}

// RemoveNarration forgets a narration and returns what was kept of it.
func (d *Desk) RemoveNarration(ctx context.Context, id string) (*Narration, error) {
	n, err := d.Narration(ctx, id)
	if err != nil {
		return nil, err
	}
	err = d.follower.Store.WriteNotes(ctx, []store.NoteWrite{{Space: spaceNarrations, Key: id, Base: store.AnyVersion, Time: d.now().UTC()}})
	return n, err
}

// narrationsOf returns the kept narrations in which a state of one of the records is said
// that a newer one takes the place of, with the times, the newest first.
func (d *Desk) narrationsOf(ctx context.Context, names []specdata.Name, old map[specdata.Name]*store.Revision) ([]ReachedNarration, error) {
	seen := map[string]*ReachedNarration{}
	for _, name := range names {
		err := d.notesOf(ctx, spaceNarrations, name, func(note *store.Note) error {
			n, err := narrationOf(note)
			if err != nil {
				return err
			}
			for _, v := range n.Values {
				if v.Fastener != name || v.Revision > old[name].Number {
					continue
				}
				if seen[n.ID] == nil {
					seen[n.ID] = &ReachedNarration{ID: n.ID, Procedure: n.Procedure, Reference: n.Reference, By: n.By}
				}
				seen[n.ID].Values = append(seen[n.ID].Values, v)
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	var out []ReachedNarration
	for _, r := range seen {
		slices.SortStableFunc(r.Values, func(a, b SpokenValue) int { return cmp.Compare(a.Start, b.Start) })
		out = append(out, *r)
	}
	slices.SortFunc(out, func(a, b ReachedNarration) int { return cmp.Compare(b.ID, a.ID) })
	return out, nil
}

// TranscriptHash returns the SHA-256 of a transcript, lower-case hex.
func TranscriptHash(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}
