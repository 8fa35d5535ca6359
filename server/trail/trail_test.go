package trail_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofload/server/access"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/trail"
	"proofload/specdata"
	"proofload/specdata/act"
)

var now = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func open(t *testing.T) (*trail.Store, store.Store, *bytes.Buffer) {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "trail.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	log := &bytes.Buffer{}
	return trail.New(s, slog.New(slog.NewTextHandler(log, nil))), s, log
}

// told lists the acts of a store's log, in its order.
func told(t *testing.T, s store.Store) (out []*act.Act) {
	t.Helper()
	head, err := s.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for after := int64(0); after < head.Position; {
		rs, err := s.Log(t.Context(), after, head.Position, 1000)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rs {
			if after = r.Position; r.Name.IsAct() {
				a, err := act.Parse(r.Name, r.Document)
				if err != nil {
					t.Fatal(err)
				}
				out = append(out, a)
			}
		}
	}
	return out
}

func source(waivers string) []byte {
	if waivers != "" {
		waivers = `,"waivers":[` + waivers + `]`
	}
	return []byte(`{"date":"2020-01-01","document":"Chassis sheet","id":"sheet-1","issuer":"Quill","kind":"source","title":"Chassis sheet"` + waivers + `}`)
}

func waiver(rule string) string {
	return fmt.Sprintf(`{"at":"/date","by":"Maud Ibbot","reason":"held against the paper","rule":%q,"until":"2027-01-15","value":"2020-01-01"}`, rule)
}

// Each waiver that a publication gives or ends is an act at its position, also of two
// in one record; publishing the same again under its key makes no other.
func TestWaivers(t *testing.T) {
	s, _, _ := open(t)
	publish := func(base int64, doc []byte) {
		t.Helper()
		p := store.Publication{Changes: []store.Change{{Name: "sources/sheet-1", Base: base, Document: doc}}, Authors: []string{"Maud Ibbot"}, Reviewer: "Piet Oram", Reason: "read again", Time: now, Key: fmt.Sprint("key ", base)}
		at, err := s.Publish(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := s.Publish(t.Context(), p); err != nil || again != at {
			t.Errorf("published again at %d, %v, want %d", again, err, at)
		}
	}
	publish(0, source(waiver("one")+","+waiver("two")))
	publish(1, source(waiver("two")+","+waiver("three")))
	publish(2, nil)
	var got []string
	for _, a := range told(t, s) {
		got = append(got, fmt.Sprintf("%s %s by %s of %s", a.What, a.Details["rule"], a.By, a.About))
		if strings.Contains(a.Title, "Maud Ibbot") || a.Details["names"] != "Maud Ibbot" {
			t.Errorf("%q speaks in the name of who did not approve, or hides the name: %v", a.Title, a.Details)
		}
	}
	want := `waiver-given one by Piet Oram of sources/sheet-1
waiver-given two by Piet Oram of sources/sheet-1
waiver-given three by Piet Oram of sources/sheet-1
waiver-ended one by Piet Oram of sources/sheet-1
waiver-ended two by Piet Oram of sources/sheet-1
waiver-ended three by Piet Oram of sources/sheet-1`
	if strings.Join(got, "\n") != want {
		t.Errorf("told is\n%s\nwant\n%s", strings.Join(got, "\n"), want)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// A token that is given, asked for by one of two, or taken back, is a leaf in the same
// transaction and a line of the log; neither holds the secret. Tokens of before have
// their leaves with the first act.
func TestTokens(t *testing.T) {
	s, raw, log := open(t)
	before := access.NewKeys(raw, func() time.Time { return now })
	if _, _, err := before.Issue(t.Context(), "Olav Nyberg", []access.Role{access.Reader}, time.Time{}); err != nil {
		t.Fatal(err)
	}
	k := access.NewKeys(s, func() time.Time { return now })
	if _, err := k.First(t.Context(), access.Person{Name: "Runa Estby", Role: access.Admin}); err != nil {
		t.Fatal(err)
	}
	if len(told(t, s)) != 0 {
		t.Error("the first tokens make a new library's first position")
	}
	_, una, err := k.Issue(t.Context(), "Una Birk", []access.Role{access.Admin}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	as := access.With(t.Context(), una)
	_, piet, err := k.Issue(as, "Piet Oram", []access.Role{access.Reviewer}, now.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := k.Issue(as, "Piet Oram", []access.Role{access.Reviewer}, time.Time{}); err == nil {
		t.Fatal("one administrator is enough")
	}
	if _, err := k.Revoke(as, piet.ID); err != nil {
		t.Fatal(err)
	}
	acts := told(t, s)
	var got []string
	for _, a := range acts {
		got = append(got, strings.TrimSpace(fmt.Sprintf("%s %s by %s", a.What, a.Details["person"], a.By)))
	}
	for _, a := range acts[:2] {
		if a.Details["person"] == "Runa Estby" && (a.By != act.AtStart || !strings.Contains(a.Title, "with the role admin, by the server at its start on 2026-11-25 12:00 UTC")) {
			t.Errorf("the first token is told as %+v", a)
		}
	}
	if len(got) != 6 || got[2] != "token-given Una Birk by" || got[3] != "token-given Piet Oram by Una Birk" || got[4] != "token-asked Piet Oram by Una Birk" || got[5] != "token-revoked Piet Oram by Una Birk" ||
		!strings.Contains(got[0]+got[1], "Olav Nyberg") || !strings.Contains(got[0]+got[1], "Runa Estby") {
		t.Errorf("told is %q", got)
	}
	for _, want := range []string{`msg="token given"`, "Piet Oram", `by="Una Birk"`, "token=" + una.ID, `msg="token revoked"`, `msg="token asked"`} {
		if !strings.Contains(log.String(), want) {
			t.Errorf("the log does not say %s:\n%s", want, log)
		}
	}
	for _, a := range acts {
		doc, err := a.Document()
		if err != nil || bytes.Contains(doc, []byte("plt_")) {
			t.Errorf("act %s, %v", doc, err)
		}
	}
	if strings.Contains(log.String(), "plt_") {
		t.Error("the log holds a secret")
	}
}

// failing refuses to publish, so that the note of an act must not be written either.
type failing struct{ store.Store }

func (failing) Publish(context.Context, store.Publication) (int64, error) {
	return 0, errors.New("no room")
}

// Where the leaf cannot be written, the act is not done, and the log says that it was refused.
func TestNoLeafNoAct(t *testing.T) {
	_, raw, _ := open(t)
	var log bytes.Buffer
	s := trail.New(failing{raw}, slog.New(slog.NewTextHandler(&log, nil)))
	k := access.NewKeys(s, time.Now)
	if _, _, err := k.Issue(t.Context(), "Una Birk", []access.Role{access.Admin}, time.Time{}); err == nil {
		t.Fatal("a token is given")
	}
	if all, err := k.List(t.Context()); err != nil || len(all) != 0 {
		t.Errorf("tokens: %v, %v", all, err)
	}
	if !strings.Contains(log.String(), "refused=") {
		t.Errorf("the log says %s", log.String())
	}
}

// crashing ends between the leaf of a release and the release.
type crashing struct {
	store.Store
	down bool
}

func (c *crashing) SetRelease(ctx context.Context, r store.Release) error {
	if c.down {
		return errors.New("the server ended")
	}
	return c.Store.SetRelease(ctx, r)
}

// A server that ended between the leaf of a release and the release finishes it when
// the name is given again, and never under another position than the leaf says.
func TestReleases(t *testing.T) {
	_, raw, _ := open(t)
	c := &crashing{raw, true}
	s := trail.New(c, slog.New(slog.DiscardHandler))
	if _, err := s.Publish(t.Context(), store.Publication{Changes: []store.Change{{Name: "sources/sheet-1", Document: source("")}}, Time: now}); err != nil {
		t.Fatal(err)
	}
	r := store.Release{Name: "Spring.2027", Position: 1, By: "Piet Oram", Note: "for the books", Time: now}
	if err := s.SetRelease(t.Context(), r); err == nil {
		t.Fatal("it did not end")
	}
	c.down = false
	other := r
	other.Position = 2
	if err := s.SetRelease(t.Context(), other); !errors.Is(err, store.ErrConflict) {
		t.Errorf("another position under the name of the leaf: %v", err)
	}
	if err := s.SetRelease(t.Context(), r); err != nil {
		t.Error(err)
	}
	all, err := s.Releases(t.Context())
	if err != nil || len(all) != 1 || all[0] != r {
		t.Errorf("releases: %+v, %v", all, err)
	}
	acts := told(t, s)
	if len(acts) != 1 || acts[0].What != act.Released || acts[0].About != "releases/Spring.2027" || acts[0].Details["position"] != "1" {
		t.Errorf("acts: %+v", acts)
	}
	if err := s.SetRelease(t.Context(), store.Release{Name: "later", Position: 9, Time: now}); !errors.Is(err, store.ErrFuture) {
		t.Errorf("a position that is not there: %v", err)
	}
	if n := len(told(t, s)); n != 1 {
		t.Errorf("%d acts of which some were refused", n)
	}
	if _, err := specdata.ParseName(string(acts[0].Name())); err == nil {
		t.Error("an act passes for a record")
	}
}
