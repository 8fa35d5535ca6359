package access

import (
	"context"
	"encoding/json"
	"time"

	"proofload/server/store"
)

// RevokedNotes returns the notes of the tokens of a store that were revoked, by key.
func RevokedNotes(ctx context.Context, s store.Store) (map[string]*store.Note, error) {
	out := map[string]*store.Note{}
	err := eachToken(ctx, s, func(n *store.Note, t *Token) error {
		if !t.Revoked.IsZero() {
			out[n.Key] = n
		}
		return nil
	})
	return out, err
}

// Carry revokes the tokens of a restored store that were revoked in the one it
// replaces, or every one where those are not known. It returns how many it revoked.
func Carry(ctx context.Context, s store.Store, revoked map[string]*store.Note, all bool, now time.Time) (n int, err error) {
	var writes []store.NoteWrite
	err = eachToken(ctx, s, func(note *store.Note, t *Token) error {
		old := revoked[note.Key]
		if !t.Revoked.IsZero() || old == nil && !all {
			return nil
		}
		t.Revoked = now.UTC()
		if old != nil {
			was, err := decode(old)
			if err != nil {
				return err
			}
			t.Revoked = was.Revoked
		}
		body, err := json.Marshal(t)
		writes = append(writes, store.NoteWrite{Space: TokenSpace, Key: note.Key, Base: note.Version, Body: body, Time: now})
		return err
	})
	if err != nil || len(writes) == 0 {
		return 0, err
	}
	return len(writes), s.WriteNotes(ctx, writes)
}

func eachToken(ctx context.Context, s store.Store, do func(*store.Note, *Token) error) error {
	for q := (store.NoteQuery{Space: TokenSpace, Limit: store.MaxLimit}); ; {
		notes, err := s.ListNotes(ctx, q)
		if err != nil {
			return err
		}
		for _, n := range notes {
			t, err := decode(n)
			if err == nil {
				err = do(n, t)
			}
			if err != nil {
				return err
			}
			q.After = n.Key
		}
		if len(notes) < q.Limit {
			return nil
		}
	}
}
