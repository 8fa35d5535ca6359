package access

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata/person"
)

// Keys keeps the tokens of a store. All methods may be called from many goroutines.
type Keys struct {
	store store.Store
	now   func() time.Time

	mu sync.RWMutex
	// known holds tokens seen lately, by the hash of their secret.
	known map[string]known
}

type known struct {
	token *Token
	until time.Time
}

// The notes of tokens: one a token under the hash of its secret, one that says that the
// first tokens were given out, and one that every revocation of an administrator writes.
const (
	TokenSpace = "tokens"
	FirstSpace = "first-tokens"
	firstKey   = "given"
	adminSpace = "token-admins"
	adminKey   = "revoked"
)

// A token is looked up in the store again after rememberFor, which is how long one
// that another node revoked still works here. maxKnown bounds the memory.
const (
	rememberFor = 2 * time.Second
	maxKnown    = 1000
)

// NewKeys returns the tokens of a store; now is the clock.
func NewKeys(s store.Store, now func() time.Time) *Keys {
	return &Keys{store: s, now: now, known: map[string]known{}}
}

// Issue returns a person a token. The secret is known to the caller from then on and
// to nobody else. The error is InvalidArgument for a name or a role that is not in
// order, or for a person who is known under another spelling. An administrator who
// asks for a token in the name of another person who has or had one is not enough:
// SecondAdminRequired, until an administrator who does not owe their token to the
// first asks for the same within a day.
func (k *Keys) Issue(ctx context.Context, name string, roles []Role, expires time.Time) (secret string, t *Token, err error) {
	if err := validate(name, roles, expires, k.now()); err != nil {
		return "", nil, err
	}
	all, err := k.List(ctx)
	if err != nil {
		return "", nil, err
	}
	for _, o := range all {
		// Anyone who approves must be another person than the person who wrote, so one person
		// must not pass for two.
		if o.Person != name && person.Same(o.Person, name) {
			return "", nil, fault.Field("person", "person %q is known as %q; write the name the same way", name, o.Person)
		}
	}
	by := Caller(ctx)
	grant, err := k.second(ctx, by, name, roles, expires, all)
	if err != nil {
		return "", nil, err
	}
	secret, t, err = k.draw(name, roles, expires)
	if err != nil {
		return "", nil, err
	}
	if by != nil {
		t.By, t.Giver = by.ID, by.Person
	}
	writes := make([]store.NoteWrite, 0, 2)
	if grant != nil {
		t.Second, t.SecondGiver = grant.By, grant.Person
		writes = append(writes, grant.used)
	}
	write, err := k.write(secret, t)
	if err != nil {
		return "", nil, err
	}
	return secret, t, k.store.WriteNotes(ctx, append(writes, write))
}

func (k *Keys) draw(person string, roles []Role, expires time.Time) (secret string, t *Token, err error) {
	secret = newSecret()
	t = &Token{ID: keyOf(secret)[:idLength], Person: person, Roles: roles, Created: k.now().UTC()}
	if !expires.IsZero() {
		t.Expires = expires.UTC()
	}
	return secret, t, nil
}

// write is the note of a new token.
func (k *Keys) write(secret string, t *Token) (store.NoteWrite, error) {
	body, err := json.Marshal(t)
	return store.NoteWrite{Space: TokenSpace, Key: keyOf(secret), Body: body, Time: t.Created}, err
}

// Person is who gets one of the first tokens.
type Person struct {
	Name string
	Role Role
}

// First returns out the first tokens of a store, once: their secrets in the order of
// the people, or nothing where a store has given them out before, here or on
// another node.
func (k *Keys) First(ctx context.Context, people ...Person) (secrets []string, err error) {
	now := k.now().UTC()
	writes := []store.NoteWrite{{Space: FirstSpace, Key: firstKey, Body: []byte("{}"), Time: now}}
	for _, p := range people {
		secret, t, err := k.draw(p.Name, []Role{p.Role}, time.Time{})
		if err != nil {
			return nil, err
		}
		t.First = true
		w, err := k.write(secret, t)
		if err != nil {
			return nil, err
		}
		secrets, writes = append(secrets, secret), append(writes, w)
	}
	switch _, err := k.store.GetNote(ctx, FirstSpace, firstKey); {
	case err == nil:
		return nil, nil
	case !errors.Is(err, store.ErrNotFound):
		return nil, err
	}
	switch err := k.store.WriteNotes(ctx, writes); {
	case errors.Is(err, store.ErrConflict):
		return nil, nil // another node was faster
	case err != nil:
		return nil, err
	}
	return secrets, nil
}

// List returns every token ever given, in order of id.
func (k *Keys) List(ctx context.Context) ([]*Token, error) {
	var out []*Token
	q := store.NoteQuery{Space: TokenSpace, Limit: store.MaxLimit}
	for {
		notes, err := k.store.ListNotes(ctx, q)
		if err != nil {
			return nil, err
		}
		for _, n := range notes {
			t, err := decode(n)
			if err != nil {
				return nil, err
			}
			out = append(out, t)
			q.After = n.Key
		}
		if len(notes) < q.Limit {
			return out, nil
		}
	}
}

func decode(n *store.Note) (*Token, error) {
	var t Token
	if err := json.Unmarshal(n.Body, &t); err != nil {
		return nil, fmt.Errorf("token %.12s: %w: %v", n.Key, store.ErrCorrupt, err)
	}
	return &t, nil
}

// Revoke makes a token worthless. Doing it again changes nothing. The error is
// TokenNotFound where there is none of that id, and LastAdmin where nobody could give
// out tokens any more.
func (k *Keys) Revoke(ctx context.Context, id string) (*Token, error) {
	notFound := fault.New(fault.TokenNotFound, "token %.40q does not exist; list the tokens to see their ids", id).With("token", fmt.Sprintf("%.40s", id))
	if len(id) != idLength {
		return nil, notFound
	}
	// Keys are hashes of one length, and the id is how this one starts.
	notes, err := k.store.ListNotes(ctx, store.NoteQuery{Space: TokenSpace, After: id, Limit: 1})
	if err != nil {
		return nil, err
	}
	if len(notes) == 0 || !strings.HasPrefix(notes[0].Key, id) {
		return nil, notFound
	}
	n := notes[0]
	t, err := decode(n)
	if err != nil || !t.Revoked.IsZero() {
		return t, err
	}
	now := k.now().UTC()
	var writes []store.NoteWrite
	by := Caller(ctx)
	if t.Has(Admin) {
		// Two administrators who revoke each other at once write the same note.
		w, err := k.notLast(ctx, t, by != nil, now)
		if err != nil {
			return nil, err
		}
		writes = append(writes, w)
	}
	t.Revoked = now
	if by != nil {
		t.RevokedBy, t.Revoker = by.ID, by.Person
	}
	body, err := json.Marshal(t)
	if err != nil {
		return nil, err
	}
	writes = append(writes, store.NoteWrite{Space: TokenSpace, Key: n.Key, Base: n.Version, Body: body, Time: t.Revoked})
	// From here on it is good for nothing on this node, not even to see itself revoked.
	forget := func() { k.mu.Lock(); delete(k.known, n.Key); k.mu.Unlock() }
	k.mu.Lock()
	k.known[n.Key] = known{t, k.now().Add(time.Minute)}
	k.mu.Unlock()
	defer forget()
	if err := k.store.WriteNotes(ctx, writes); errors.Is(err, store.ErrConflict) {
		return k.Revoke(ctx, id) // another token of an administrator was revoked, or this one
	} else if err != nil {
		return nil, err
	}
	return t, nil
}

// Find returns the token of a secret. What is not one costs the same as what is: a
// hash and a look for it. The error is TokenInvalid.
func (k *Keys) Find(ctx context.Context, secret string) (*Token, error) {
	return k.find(ctx, keyOf(secret))
}

// find is Find by the hash of the secret.
func (k *Keys) find(ctx context.Context, key string) (*Token, error) {
	now := k.now()
	k.mu.RLock()
	seen, ok := k.known[key]
	k.mu.RUnlock()
	if ok && now.Before(seen.until) {
		return seen.token, seen.token.usable(now)
	}
	n, err := k.store.GetNote(ctx, TokenSpace, key)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, fault.New(fault.TokenInvalid, "token is not one of this server; it is %s and %d letters and digits", secretPrefix, secretLength-len(secretPrefix))
	case err != nil:
		return nil, err
	}
	t, err := decode(n)
	if err != nil {
		return nil, err
	}
	t.keys, t.key = k, key
	k.mu.Lock()
	if len(k.known) >= maxKnown {
		clear(k.known)
	}
	k.known[key] = known{t, now.Add(rememberFor)}
	k.mu.Unlock()
	return t, t.usable(now)
}
