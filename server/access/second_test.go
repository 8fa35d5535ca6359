package access

import (
	"context"
	"sync"
	"testing"
	"time"

	"proofload/server/fault"
)

// One administrator alone makes nobody sign for somebody else, cannot take the last
// administrator's token and makes up no second administrator.
func TestOneAdministratorIsNotTwoPeople(t *testing.T) {
	k, _, c := newKeys(t)
	console := t.Context()
	issue := func(ctx context.Context, person string, roles ...Role) *Token {
		t.Helper()
		_, given, err := k.Issue(ctx, person, roles, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		return given
	}
	runa := issue(console, "Runa Estby", Admin)
	piet := issue(console, "Piet Oram", Reviewer)
	asRuna := With(t.Context(), runa)
	if err := k.revokeErr(asRuna, runa.ID); kindOf(err) != fault.LastAdmin {
		t.Errorf("revoking the last administrator: %v", err)
	}
	for range 2 { // asking twice does not make two of one
		if _, _, err := k.Issue(asRuna, "Piet Oram", []Role{Reviewer}, time.Time{}); kindOf(err) != fault.SecondAdminRequired {
			t.Errorf("a token in another's name: %v", err)
		}
	}
	ghost := issue(asRuna, "Ghost One", Admin) // whom Runa made up
	ghosts := issue(With(t.Context(), ghost), "Ghost Two", Admin)
	for _, of := range []*Token{ghost, ghosts} {
		if _, _, err := k.Issue(With(t.Context(), of), "Piet Oram", []Role{Reviewer}, time.Time{}); kindOf(err) != fault.SecondAdminRequired {
			t.Errorf("an administrator makes up the second, %s: %v", of, err)
		}
	}
	if _, _, err := k.Issue(asRuna, "Piet Oram", []Role{Reviewer}, time.Time{}); kindOf(err) != fault.SecondAdminRequired {
		t.Errorf("an administrator who made up the first: %v", err)
	}
	una := issue(console, "Una Birk", Admin)
	asUna := With(t.Context(), una)
	if _, _, err := k.Issue(asUna, "Piet Oram", []Role{Reviewer, Editor}, time.Time{}); kindOf(err) != fault.SecondAdminRequired {
		t.Errorf("another token than the one that was asked for: %v", err)
	}
	c.now = c.now.Add(25 * time.Hour)
	if _, _, err := k.Issue(asUna, "Piet Oram", []Role{Reviewer}, time.Time{}); kindOf(err) != fault.SecondAdminRequired {
		t.Errorf("a day later: %v", err)
	}
	second := issue(asRuna, "Piet Oram", Reviewer)
	if second.By != runa.ID || second.Second != una.ID {
		t.Errorf("given by %q and %q, want %q and %q", second.By, second.Second, runa.ID, una.ID)
	}
	if _, _, err := k.Issue(asRuna, "Piet Oram", []Role{Reviewer}, time.Time{}); kindOf(err) != fault.SecondAdminRequired {
		t.Errorf("what was asked for is good once: %v", err)
	}
	issue(With(t.Context(), piet), "Piet Oram", Reviewer) // themself
	// Taking back all that a person has does not make room for another in their name.
	all, err := k.List(console)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range all {
		if o.Person == "Piet Oram" {
			if err := k.revokeErr(asRuna, o.ID); err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, _, err := k.Issue(asRuna, "Piet Oram", []Role{Reviewer}, time.Time{}); kindOf(err) != fault.SecondAdminRequired {
		t.Errorf("a token in the name of whom all tokens were taken back: %v", err)
	}
	for _, made := range []*Token{ghost, ghosts} {
		if err := k.revokeErr(asRuna, made.ID); err != nil {
			t.Fatal(err)
		}
	}
	// The last administrator whose token does not expire stays, or the day that the
	// others' do would lock everybody out.
	_, short, err := k.Issue(asRuna, "Olav Nyberg", []Role{Admin}, c.now.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if err := k.revokeErr(asRuna, una.ID); err != nil {
		t.Errorf("revoking one of two administrators: %v", err)
	}
	if err := k.revokeErr(With(t.Context(), short), runa.ID); kindOf(err) != fault.LastAdmin {
		t.Errorf("revoking the last administrator that does not expire: %v", err)
	}
	if err := k.revokeErr(asRuna, short.ID); err != nil {
		t.Errorf("revoking one that expires: %v", err)
	}
	if err := k.revokeErr(console, runa.ID); err != nil {
		t.Errorf("revoking the last at the console: %v", err)
	}
}

// Of two administrators who take back each other's token at once, one stays.
func TestAdministratorsRevokeEachOther(t *testing.T) {
	for range 20 {
		k, _, _ := newKeys(t)
		var ids [2]*Token
		for i, name := range []string{"Runa Estby", "Una Birk"} {
			_, given, err := k.Issue(t.Context(), name, []Role{Admin}, time.Time{})
			if err != nil {
				t.Fatal(err)
			}
			ids[i] = given
		}
		var wg sync.WaitGroup
		for i := range ids {
			wg.Go(func() { _ = k.revokeErr(With(t.Context(), ids[i]), ids[1-i].ID) })
		}
		wg.Wait()
		all, err := k.List(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		live := 0
		for _, o := range all {
			if o.Revoked.IsZero() {
				live++
			}
		}
		if live != 1 {
			t.Fatalf("%d administrators are left, want 1", live)
		}
	}
}
func (k *Keys) revokeErr(ctx context.Context, id string) error {
	_, err := k.Revoke(ctx, id)
	return err
}
