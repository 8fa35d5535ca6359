package transfer

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"proofload/server/store"
)

// Where a store keeps the library's own words.
const (
	spaceLibrary = "library"
	keyWords     = "words"
)

// KeepWords keeps a library's own words beside its records, as the marker of a folder has
// them; none removes those of before.
func KeepWords(ctx context.Context, s store.Store, words map[string][]string, now time.Time) error {
	was, err := Words(ctx, s)
	if err != nil || len(was) == 0 && len(words) == 0 {
		return err
	}
	w := store.NoteWrite{Space: spaceLibrary, Key: keyWords, Base: store.AnyVersion, Time: now}
	if len(words) > 0 {
		if w.Body, err = json.Marshal(words); err != nil {
			return err
		}
	}
	return s.WriteNotes(ctx, []store.NoteWrite{w})
}

// Words returns the library's own words that a store keeps, nil for none.
func Words(ctx context.Context, s store.Store) (map[string][]string, error) {
	n, err := s.GetNote(ctx, spaceLibrary, keyWords)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, nil
	case err != nil:
		return nil, err
	}
	var words map[string][]string
	if err := json.Unmarshal(n.Body, &words); err != nil {
		return nil, fmt.Errorf("words of the library: %w: %v", store.ErrCorrupt, err)
	}
	return words, nil
}
