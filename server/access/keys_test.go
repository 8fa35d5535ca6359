package access

import (
	"context"
	"encoding/base64"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/server/store/sqlite"
)

type clock struct{ now time.Time }

func (c *clock) read() time.Time { return c.now }

func newKeys(t *testing.T) (*Keys, store.Store, *clock) {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "keys.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	c := &clock{time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)}
	return NewKeys(s, c.read), s, c
}

func kindOf(err error) fault.Kind {
	if err == nil {
		return ""
	}
	return fault.From(err).Kind
}

func TestLifeOfAToken(t *testing.T) {
	k, s, c := newKeys(t)
	secret, given, err := k.Issue(t.Context(), "Maud Ibbot", []Role{Editor, Reviewer}, c.now.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if len(secret) != secretLength || !strings.HasPrefix(secret, "plt_") || given.ID != keyOf(secret)[:idLength] {
		t.Errorf("secret %q of token %s", secret, given.ID)
	}
	found, err := k.Find(t.Context(), secret)
	if err != nil || found.Person != "Maud Ibbot" || !found.Has(Reviewer) || found.Has(Admin) {
		t.Errorf("found %v, %v", found, err)
	}
	for _, wrong := range []string{"", "plt_", secret[:len(secret)-1], secret + "a", strings.ToUpper(secret), keyOf(secret), given.ID} {
		if _, err := k.Find(t.Context(), wrong); kindOf(err) != fault.TokenInvalid {
			t.Errorf("%q is found: %v", wrong, err)
		}
	}
	// What the store holds does not help anyone who steals it.
	notes, err := s.ListNotes(t.Context(), store.NoteQuery{Space: TokenSpace, Limit: 10})
	if err != nil || len(notes) != 1 {
		t.Fatal(notes, err)
	}
	if text := notes[0].Key + string(notes[0].Body); strings.Contains(text, secret) || strings.Contains(text, secret[4:12]) {
		t.Error("the store holds the secret")
	}
	c.now = c.now.Add(2 * time.Hour)
	if _, err := k.Find(t.Context(), secret); kindOf(err) != fault.TokenInvalid || !strings.Contains(err.Error(), "expired") {
		t.Errorf("an expired token gives %v", err)
	}
	other, _, err := k.Issue(t.Context(), "Piet Oram", []Role{Reviewer}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	elsewhere := NewKeys(s, c.read) // another node of the same store
	for _, node := range []*Keys{k, elsewhere} {
		if _, err := node.Find(t.Context(), other); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		if _, err := k.Revoke(t.Context(), keyOf(other)[:idLength]); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := k.Find(t.Context(), other); kindOf(err) != fault.TokenInvalid || !strings.Contains(err.Error(), "revoked") {
		t.Errorf("a revoked token gives %v", err)
	}
	c.now = c.now.Add(3 * time.Second)
	if _, err := elsewhere.Find(t.Context(), other); kindOf(err) != fault.TokenInvalid {
		t.Errorf("%s after it was revoked on another node, a token gives %v", 3*time.Second, err)
	}
	for _, id := range []string{"", "0", strings.Repeat("0", idLength), strings.Repeat("f", idLength), strings.Repeat("z", 500)} {
		if _, err := k.Revoke(t.Context(), id); kindOf(err) != fault.TokenNotFound {
			t.Errorf("revoking %.20q gives %v", id, err)
		}
	}
	if all, err := k.List(t.Context()); err != nil || len(all) != 2 || !slices.IsSortedFunc(all, func(a, b *Token) int { return strings.Compare(a.ID, b.ID) }) {
		t.Errorf("list is %v, %v", all, err)
	}
}

// What a node remembers of a token is short, whatever the tests' clock says.
func TestRevokedElsewhereWithinSeconds(t *testing.T) {
	if rememberFor > 5*time.Second {
		t.Errorf("a token that another node revoked works for %s here; allowed: 5s", rememberFor)
	}
}

func TestIssueRefuses(t *testing.T) {
	k, _, c := newKeys(t)
	if _, _, err := k.Issue(t.Context(), "Maud Ibbot", []Role{Editor}, time.Time{}); err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		name, person string
		roles        []Role
		expires      time.Time
		says         string
	}{
		{"nobody", "", []Role{Editor}, time.Time{}, "1 to 100"},
		{"spaces", " Maud", []Role{Editor}, time.Time{}, "spaces"},
		{"two spaces", "Maud  Ibbot", []Role{Editor}, time.Time{}, "spaces"},
		{"a line break", "Maud\nIbbot", []Role{Editor}, time.Time{}, "plain text"},
		{"a turn of direction", "Maud\u202eIbbot", []Role{Editor}, time.Time{}, "plain text"},
		{"too long", strings.Repeat("m", 101), []Role{Editor}, time.Time{}, "1 to 100"},
		{"no UTF-8", "Maud\xff", []Role{Editor}, time.Time{}, "plain text"},
		{"the same person twice", "MAUD IBBOT", []Role{Reviewer}, time.Time{}, "Maud Ibbot"},
		{"the same person in letters that look alike", "M\u0430ud Ibbot", []Role{Reviewer}, time.Time{}, "Maud Ibbot"},
		{"the same person without the space", "MaudIbbot", []Role{Reviewer}, time.Time{}, "Maud Ibbot"},
		{"the same person with a stroke", "Maud Ibbøt", []Role{Reviewer}, time.Time{}, "Maud Ibbot"},
		{"a braille blank", "Piet\u2800Oram", []Role{Reviewer}, time.Time{}, "U+2800"},
		{"a note without a head", "Piet Oram\U0001d159", []Role{Reviewer}, time.Time{}, "U+1D159"},
		{"no letter", "--", []Role{Reviewer}, time.Time{}, "no letter"},
		{"no role", "Piet Oram", nil, time.Time{}, "empty"},
		{"an unknown role", "Piet Oram", []Role{"owner"}, time.Time{}, "allowed"},
		{"a role twice", "Piet Oram", []Role{Editor, Editor}, time.Time{}, "twice"},
		{"the past", "Piet Oram", []Role{Editor}, c.now, "past"},
	} {
		if _, _, err := k.Issue(t.Context(), x.person, x.roles, x.expires); kindOf(err) != fault.InvalidArgument || !strings.Contains(err.Error(), x.says) {
			t.Errorf("%s: got %v, want %q", x.name, err, x.says)
		}
	}
	if all, err := k.List(t.Context()); err != nil || len(all) != 1 {
		t.Errorf("refusals left %v, %v", all, err)
	}
}

// A store gives its first tokens out once, whichever of several nodes asks.
func TestFirstTokensOnce(t *testing.T) {
	k, s, c := newKeys(t)
	people := []Person{{"Maud Ibbot", Editor}, {"Piet Oram", Reviewer}}
	type answer struct {
		secrets []string
		err     error
	}
	answers := make(chan answer)
	for range 8 {
		go func() {
			secrets, err := NewKeys(s, c.read).First(context.Background(), people...)
			answers <- answer{secrets, err}
		}()
	}
	var given []string
	for range 8 {
		a := <-answers
		if a.err != nil {
			t.Error(a.err)
		}
		given = append(given, a.secrets...)
	}
	if len(given) != 2 {
		t.Fatalf("%d tokens were given out, want 2", len(given))
	}
	for i, secret := range given {
		if found, err := k.Find(t.Context(), secret); err != nil || found.Person != people[i].Name || !found.Has(people[i].Role) {
			t.Errorf("token %d is %v, %v", i, found, err)
		}
	}
}

func TestGate(t *testing.T) {
	k, _, _ := newKeys(t)
	secret, _, err := k.Issue(t.Context(), "Maud Ibbot", []Role{Editor}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	basic := "Basic " + base64.StdEncoding.EncodeToString([]byte("anybody:"+secret))
	for _, c := range []struct {
		name, sent string
		required   bool
		want       fault.Kind
		known      bool
	}{
		{"nothing", "", false, "", false},
		{"nothing where something is needed", "", true, fault.TokenMissing, false},
		{"a token", "Bearer " + secret, false, "", true},
		{"a token where it is needed", "Bearer " + secret, true, "", true},
		{"another case", "bearer " + secret, false, "", true},
		{"more spaces", "Bearer   " + secret, false, "", true},
		{"a wrong token", "Bearer " + secret[:20], false, fault.TokenInvalid, false},
		{"a token that never ends", "Bearer " + strings.Repeat("x", 1<<16), false, fault.TokenInvalid, false},
		{"no scheme", secret, false, fault.TokenInvalid, false},
		{"no token", "Bearer ", false, fault.TokenInvalid, false},
		{"a browser", OfBrowser(basic), true, "", true},
		{"a browser where none may be", basic, true, fault.TokenInvalid, false},
		{"a browser's nonsense", OfBrowser("Basic !!!"), true, fault.TokenInvalid, false},
	} {
		got, err := NewGate(k, Settings{Required: c.required}).Identify(t.Context(), c.sent, Origin{Local: true})
		if kindOf(err) != c.want || (got != nil) != c.known {
			t.Errorf("%s: got %v, %v", c.name, got, err)
		}
		if err != nil && strings.Contains(err.Error(), secret[:20]) {
			t.Errorf("%s: the error shows the token: %v", c.name, err)
		}
	}
	if got, err := (*Gate)(nil).Identify(t.Context(), "Bearer x", Origin{}); got != nil || err != nil {
		t.Errorf("no gate gives %v, %v", got, err)
	}
}

func TestNeed(t *testing.T) {
	editor := &Token{ID: "0", Person: "Maud Ibbot", Roles: []Role{Editor}}
	for _, c := range []struct {
		name  string
		token *Token
		roles []Role
		want  fault.Kind
	}{
		{"nobody", nil, []Role{Editor}, fault.TokenMissing},
		{"the role", editor, []Role{Editor}, ""},
		{"another role", editor, []Role{Reviewer}, fault.RoleRequired},
		{"either role", editor, []Role{Reviewer, Editor}, ""},
		{"admin is no editor", &Token{Roles: []Role{Admin}}, []Role{Editor}, fault.RoleRequired},
	} {
		got, err := Need(With(t.Context(), c.token), c.roles...)
		if kindOf(err) != c.want || err == nil && got != c.token {
			t.Errorf("%s: got %v, %v", c.name, got, err)
		}
	}
}

// A forged token of the right form is not found, however many are tried.
func FuzzBearer(f *testing.F) {
	f.Add("Bearer plt_aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa")
	f.Add("basic Og==")
	f.Fuzz(func(t *testing.T, s string) {
		secret, ok := bearer(OfBrowser(s))
		if ok && (secret == "" || len(secret) > 4*secretLength) {
			t.Errorf("%q gives the secret %q", s, secret)
		}
	})
}
