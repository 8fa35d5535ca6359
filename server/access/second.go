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

// GrantSpace is the space of what one administrator asked for and another has to ask for, too.
const GrantSpace = "token-grants"

// grantTime is how long the second may take.
const grantTime = 24 * time.Hour

// grant is a token that one administrator asked for.
type grant struct {
	// By is the id of that administrator's token, Person who they are.
	By      string    `json:"by"`
	Person  string    `json:"person"`
	Expires time.Time `json:"expires"`
	// For is whom the token is to be given, Roles what it is to allow.
	For   string `json:"for"`
	Roles []Role `json:"roles"`
	// used removes the grant.
	used store.NoteWrite
}

// second returns what another administrator asked for, where two are needed: for a
// token in the name of somebody else who has or ever had one, who else could be made to
// say what they never said. It is nil where one is enough. That the old token was
// revoked or expired makes no difference, or one administrator would revoke it first.
func (k *Keys) second(ctx context.Context, by *Token, name string, roles []Role, expires time.Time, all []*Token) (*grant, error) {
	now := k.now()
	if by == nil || by.Person == name || !slices.ContainsFunc(all, func(t *Token) bool { return t.Person == name }) {
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
	note, err := k.store.GetNote(ctx, GrantSpace, key)
	switch {
	case errors.Is(err, store.ErrNotFound):
	case err != nil:
		return nil, err
	default:
		g := &grant{used: store.NoteWrite{Space: GrantSpace, Key: key, Base: note.Version, Time: now}}
		if err := json.Unmarshal(note.Body, g); err != nil {
			return nil, fmt.Errorf("note %s/%s: %w: %v", GrantSpace, key, store.ErrCorrupt, err)
		}
		if now.Before(g.Expires) && independent(by.Person, g.Person, all) {
			return g, nil
		}
		base = note.Version
	}
	body, err := json.Marshal(grant{By: by.ID, Person: by.Person, Expires: now.Add(grantTime).UTC(), For: name, Roles: sorted})
	if err == nil {
		err = k.store.WriteNotes(ctx, []store.NoteWrite{{Space: GrantSpace, Key: key, Base: base, Body: body, Time: now}})
	}
	if err != nil {
		return nil, err
	}
	return nil, fault.New(fault.SecondAdminRequired, "person %q has or had a token already; another administrator, who was not given their token by you, has to ask for this one, too, within a day, or they themselves; or give it out at the console with go run ./server token add", name).With("person", name)
}

// independent reports whether neither of two administrators owes their tokens to the
// other: by way of those who gave them out, up to the console or to two who gave one
// together. Anyone who invents an administrator has not become two.
func independent(a, b string, all []*Token) bool {
	return !owes(a, b, all) && !owes(b, a, all) && a != b && !common(a, b, all)
}

// owes reports whether a person has their tokens from another, directly or through others.
func owes(person, from string, all []*Token) bool {
	return slices.Contains(givers(person, all), from)
}

// common reports whether one person gave both of two their tokens.
func common(a, b string, all []*Token) bool {
	of := givers(b, all)
	return slices.ContainsFunc(givers(a, all), func(g string) bool { return slices.Contains(of, g) })
}

// givers returns the people from whom a person has their right to administer. Somebody
// who was given a token with it at the console, or by two together, owes it to nobody.
func givers(person string, all []*Token) []string {
	var out []string
	for at := []string{person}; len(at) > 0; at = at[1:] {
		var from []string
		free := false
		for _, t := range all {
			if t.Person != at[0] || !t.Has(Admin) {
				continue
			}
			if free = free || t.By == "" || t.Second != ""; t.Giver != at[0] {
				from = append(from, t.Giver)
			}
		}
		if free {
			continue
		}
		for _, g := range from {
			if g != "" && !slices.Contains(out, g) {
				out, at = append(out, g), append(at, g)
			}
		}
	}
	return out
}

// notLast refuses to revoke the last token by which tokens can be given out for ever: one
// that expires would lock everybody out on the day it does. It returns the write by which
// two such revocations at once meet. At the console the last one goes, too.
func (k *Keys) notLast(ctx context.Context, t *Token, guarded bool, now time.Time) (store.NoteWrite, error) {
	w := store.NoteWrite{Space: adminSpace, Key: adminKey, Body: []byte("{}"), Time: now}
	switch n, err := k.store.GetNote(ctx, adminSpace, adminKey); {
	case errors.Is(err, store.ErrNotFound):
	case err != nil:
		return w, err
	default:
		w.Base = n.Version
	}
	if !guarded {
		return w, nil
	}
	all, err := k.List(ctx)
	if err != nil {
		return w, err
	}
	lasting := func(o *Token) bool { return o.Has(Admin) && o.live(now) && o.Expires.IsZero() }
	// One that expires may go while another lasts, or where it is not the only one.
	for _, o := range all {
		if o.ID != t.ID && (lasting(o) || !lasting(t) && o.Has(Admin) && o.live(now) && o.Expires.After(t.Expires)) {
			return w, nil
		}
	}
	return w, fault.New(fault.LastAdmin, "token %s is the last of an administrator that does not expire; give out another without an end first, or revoke it at the console with go run ./server token revoke", t.ID).With("token", t.ID)
}
