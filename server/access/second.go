package access

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// grantSpace holds what one administrator asked for and another has to ask for, too.
const grantSpace = "token-grants"

// grantTime is how long the second may take.
const grantTime = 24 * time.Hour

// grant is a token that one administrator asked for.
type grant struct {
	// By is the id of that administrator's token, Person who they are.
	By      string    `json:"by"`
	Person  string    `json:"person"`
	Expires time.Time `json:"expires"`
	// used removes the grant.
	used store.NoteWrite
}

// second returns what another administrator asked for, where two are needed: for a
// token in the name of somebody else who has one already, who else could be made to
// say what they never said. It is nil where one is enough.
func (k *Keys) second(ctx context.Context, by *Token, name string, roles []Role, expires time.Time, all []*Token) (*grant, error) {
	now := k.now()
	if by == nil || by.Person == name || !slices.ContainsFunc(all, func(t *Token) bool { return t.Person == name && t.live(now) }) {
		return nil, nil
	}
	sorted := slices.Sorted(slices.Values(roles))
	what, err := json.Marshal([]any{name, sorted, expires})
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(what)
	key := hex.EncodeToString(sum[:])
	base := int64(0)
	note, err := k.store.GetNote(ctx, grantSpace, key)
	switch {
	case errors.Is(err, store.ErrNotFound):
	case err != nil:
		return nil, err
	default:
		g := &grant{used: store.NoteWrite{Space: grantSpace, Key: key, Base: note.Version, Time: now}}
		if err := json.Unmarshal(note.Body, g); err != nil {
			return nil, fmt.Errorf("note %s/%s: %w: %v", grantSpace, key, store.ErrCorrupt, err)
		}
		if now.Before(g.Expires) && g.Person != by.Person {
			return g, nil
		}
		base = note.Version
	}
	body, err := json.Marshal(grant{By: by.ID, Person: by.Person, Expires: now.Add(grantTime).UTC()})
	if err == nil {
		err = k.store.WriteNotes(ctx, []store.NoteWrite{{Space: grantSpace, Key: key, Base: base, Body: body, Time: now}})
	}
	if err != nil {
		return nil, err
	}
	return nil, fault.New(fault.SecondAdminRequired, "person %q has a token already; another administrator has to ask for this one, too, within a day, or they themselves", name).With("person", name)
}

// notLast refuses to revoke the last token by which tokens can be given out.
func (k *Keys) notLast(ctx context.Context, t *Token) error {
	all, err := k.List(ctx)
	if err != nil {
		return err
	}
	now := k.now()
	for _, o := range all {
		if o.ID != t.ID && o.Has(Admin) && o.live(now) {
			return nil
		}
	}
	return fault.New(fault.LastAdmin, "token %s is the last of an administrator; give out another first, or revoke it at the console with go run ./server token revoke", t.ID).With("token", t.ID)
}
