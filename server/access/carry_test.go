package access

import (
	"strings"
	"testing"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// copyTokens writes the token notes of one store into another, as a restore does.
func copyTokens(t *testing.T, from, to store.Store) {
	t.Helper()
	notes, err := from.ListNotes(t.Context(), store.NoteQuery{Space: TokenSpace, Limit: store.MaxLimit})
	if err != nil {
		t.Fatal(err)
	}
	var writes []store.NoteWrite
	for _, n := range notes {
		writes = append(writes, store.NoteWrite{Space: TokenSpace, Key: n.Key, Body: n.Body, Time: n.Time})
	}
	if err := to.WriteNotes(t.Context(), writes); err != nil {
		t.Fatal(err)
	}
}

// A backup is from before a token was revoked. Restored, the token stays worthless from
// the moment it was revoked; the others go on.
func TestCarryKeepsRevocations(t *testing.T) {
	old, oldStore, c := newKeys(t)
	secrets := map[string]string{}
	for _, person := range []string{"Maud Ibbot", "Piet Oram", "Sena Vale"} {
		secret, _, err := old.Issue(t.Context(), person, []Role{Editor}, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		secrets[person] = secret
	}
	restored, newStore, _ := newKeys(t)
	copyTokens(t, oldStore, newStore)
	lost := keyOf(secrets["Piet Oram"])[:idLength]
	if _, err := old.Revoke(t.Context(), lost); err != nil {
		t.Fatal(err)
	}
	revoked, err := RevokedNotes(t.Context(), oldStore)
	if err != nil || len(revoked) != 1 || revoked[keyOf(secrets["Piet Oram"])] == nil {
		t.Fatalf("revoked notes are %v, %v; want that of Piet Oram alone", revoked, err)
	}
	later := c.now.Add(time.Hour)
	if n, err := Carry(t.Context(), newStore, revoked, false, later); err != nil || n != 1 {
		t.Fatalf("carried %d, %v; want 1", n, err)
	}
	for person, secret := range secrets {
		_, err := restored.Find(t.Context(), secret)
		if want := person != "Piet Oram"; (err == nil) != want {
			t.Errorf("the token of %s is good: %v, want %v", person, err == nil, want)
		}
	}
	tokens, err := restored.List(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range tokens {
		if k.ID == lost && !k.Revoked.Equal(c.now) {
			t.Errorf("revoked at %v, want the time it was revoked in the store replaced, %v", k.Revoked, c.now)
		}
	}
	if n, err := Carry(t.Context(), newStore, revoked, false, later); err != nil || n != 0 {
		t.Errorf("carried %d again, %v; want none", n, err)
	}
	// Where nobody knows what was revoked, every token is, and those that were are not again.
	if n, err := Carry(t.Context(), newStore, nil, true, later); err != nil || n != 2 {
		t.Errorf("revoked %d of those left, %v; want 2", n, err)
	}
	restarted := NewKeys(newStore, c.read)
	for person, secret := range secrets {
		if _, err := restarted.Find(t.Context(), secret); err == nil {
			t.Errorf("the token of %s is good in a store whose revocations are not known", person)
		}
	}
}

// A token that cannot be read stops the restore: it might be one that was revoked.
func TestCarryRefusesWhatItCannotRead(t *testing.T) {
	_, s, c := newKeys(t)
	if err := s.WriteNotes(t.Context(), []store.NoteWrite{{Space: TokenSpace, Key: strings.Repeat("a", 64), Body: []byte("{"), Time: c.now}}); err != nil {
		t.Fatal(err)
	}
	if _, err := RevokedNotes(t.Context(), s); err == nil {
		t.Error("a damaged token is passed over")
	}
	if n, err := Carry(t.Context(), s, nil, true, c.now); err == nil || n != 0 {
		t.Errorf("carried %d past a damaged token", n)
	}
	// Neither is what was revoked guessed from a damaged note.
	k, s, c := newKeys(t)
	secret, _, err := k.Issue(t.Context(), "Maud Ibbot", []Role{Editor}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	damaged := map[string]*store.Note{keyOf(secret): {Key: keyOf(secret), Body: []byte("{")}}
	if n, err := Carry(t.Context(), s, damaged, false, c.now); err == nil || n != 0 {
		t.Errorf("carried %d from a damaged note", n)
	}
}

// Every method of the contract says whom it is for, in the words of the roles.
func TestNeedsOfEveryMethod(t *testing.T) {
	known := map[Role]bool{Editor: true, Reviewer: true, Admin: true, Reader: true}
	methods, writing := 0, 0
	for _, s := range Services() {
		for i := range s.Methods().Len() {
			name := MethodName(s.Methods().Get(i))
			n, ok := NeedsOf(name)
			if !ok {
				t.Errorf("%s does not say who may call it", name)
			}
			methods++
			if len(n.Roles) > 0 {
				writing++
			}
			for _, r := range n.Roles {
				if !known[r] {
					t.Errorf("%s is for the role %q, which no token has", name, r)
				}
			}
		}
	}
	if methods < 30 || writing < 5 {
		t.Errorf("%d methods, %d for a role; the contract has more", methods, writing)
	}
	if _, ok := NeedsOf("/proofload.v1.Specs/NoSuchMethod"); ok {
		t.Error("a method that does not exist has needs")
	}
}

func TestClear(t *testing.T) {
	const reading, writing = "/proofload.v1.Specs/GetFastener", "/proofload.v1.Corrections/CreateCorrection"
	editor, reviewer := &Token{ID: "0", Roles: []Role{Editor}}, &Token{ID: "1", Roles: []Role{Reviewer}}
	for _, c := range []struct {
		name, method string
		token        *Token
		want         fault.Kind
		cleared      *Token
	}{
		{"reading without a token", reading, nil, "", nil},
		{"reading with one", reading, editor, "", nil},
		{"writing without a token", writing, nil, fault.TokenMissing, nil},
		{"writing in the wrong role", writing, reviewer, fault.RoleRequired, nil},
		{"writing in the right one", writing, editor, "", editor},
		{"a method of another contract", "/other.Service/Method", editor, fault.Internal, nil},
	} {
		ctx, err := Clear(With(t.Context(), c.token), c.method)
		if kindOf(err) != c.want {
			t.Errorf("%s: %v, want %s", c.name, err, c.want)
		}
		if err != nil {
			continue
		}
		got, err := Cleared(ctx)
		if got != c.cleared || (err == nil) != (c.cleared != nil) {
			t.Errorf("%s: cleared %v, %v; want %v", c.name, got, err, c.cleared)
		}
	}
}

// An ID token is far longer than a secret of ours; the server bounds the head of a request.
func TestBearer(t *testing.T) {
	for n, want := range map[int]bool{0: false, 1: true, secretLength: true, 8192: true} {
		if _, ok := bearer("Bearer " + strings.Repeat("a", n)); ok != want {
			t.Errorf("a secret of %d bytes is read: %v, want %v", n, ok, want)
		}
	}
}

func TestClip(t *testing.T) {
	fits, long := strings.Repeat("ä", 80), strings.Repeat("ä", 81)
	if got := clip(fits); got != fits {
		t.Errorf("80 characters become %q", got)
	}
	if got := clip(long); got != fits+"…" {
		t.Errorf("81 characters become %q; want 80 and a mark that something is left out", got)
	}
}

func TestGateHosts(t *testing.T) {
	var none *Gate
	if got := none.hosts(); got != nil {
		t.Errorf("no gate has the hosts %v", got)
	}
	g := &Gate{}
	g.set.Hosts = []string{"specs.example"}
	if got := g.hosts(); len(got) != 1 || got[0] != "specs.example" {
		t.Errorf("the gate of specs.example has the hosts %v", got)
	}
}
