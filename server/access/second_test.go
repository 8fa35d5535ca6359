package access

import (
	"bytes"
	"context"
	"log/slog"
	"strings"
	"testing"
	"time"

	"proofload/server/fault"
	"proofload/server/store"
)

// One administrator alone makes nobody sign for somebody else, cannot take the last
// administrator's token, and leaves a line of whatever they do.
func TestOneAdministratorIsNotTwoPeople(t *testing.T) {
	k, _, c := newKeys(t)
	var log bytes.Buffer
	k.store = NewTrail(k.store, slog.New(slog.NewTextHandler(&log, nil)))
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
	una := issue(asRuna, "Una Birk", Admin) // who has none yet
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
	if err := k.revokeErr(asRuna, una.ID); err != nil {
		t.Errorf("revoking one of two administrators: %v", err)
	}
	if err := k.revokeErr(console, runa.ID); err != nil {
		t.Errorf("revoking the last at the console: %v", err)
	}
	if _, err := k.store.(*Trail).Publish(asRuna, store.Publication{}); err == nil {
		t.Error("an empty publication is published")
	}
	for _, want := range []string{`msg="token given"`, `person="Piet Oram"`, `by="Runa Estby"`, "second=" + una.ID, `msg="token revoked"`, "a second administrator is needed", "msg=publish", "refused="} {
		if !strings.Contains(log.String(), want) {
			t.Errorf("the log does not say %s:\n%s", want, log.String())
		}
	}
	if strings.Contains(log.String(), secretPrefix) {
		t.Error("the log holds a secret")
	}
}

func (k *Keys) revokeErr(ctx context.Context, id string) error {
	_, err := k.Revoke(ctx, id)
	return err
}
