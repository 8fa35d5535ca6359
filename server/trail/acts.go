package trail

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"proofload/server/access"
	"proofload/server/desk"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/act"
	"proofload/specdata/person"
)

// keySpace holds the keys of the library, as package notary keeps them.
const keySpace = "keys"

// who notes who does an act: the caller, or nobody for what is done at the console.
func who(ctx context.Context, a *act.Act) *act.Act {
	if by := access.Caller(ctx); by != nil {
		a.By, a.Token = by.Person, by.ID
	}
	return a
}

// short returns a text as an id: 12 hex digits of its hash.
func short(parts ...string) string {
	h := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(h[:6])
}

func tokenActs(w store.NoteWrite) ([]*act.Act, error) {
	if w.Body == nil {
		return nil, nil
	}
	t := &access.Token{}
	if err := json.Unmarshal(w.Body, t); err != nil {
		return nil, err
	}
	if !t.Revoked.IsZero() {
		return []*act.Act{revoked(t)}, nil
	}
	if w.Base != 0 {
		return nil, nil
	}
	return []*act.Act{given(t)}, nil
}

func given(t *access.Token) *act.Act {
	roles := make([]string, len(t.Roles))
	for i, r := range t.Roles {
		roles[i] = string(r)
	}
	a := &act.Act{
		What: act.TokenGiven, ID: "token-" + t.ID + "-given", About: "tokens/" + t.ID, By: t.Giver, Token: t.By, Second: t.SecondGiver,
		Title:   fmt.Sprintf("token %s given to %s with the %s %s", t.ID, t.Person, map[bool]string{true: "role", false: "roles"}[len(roles) == 1], strings.Join(roles, ", ")),
		Details: map[string]string{"person": t.Person, "roles": strings.Join(roles, " "), "created": t.Created.UTC().Format(time.RFC3339Nano)},
	}
	if t.First {
		a.By = act.AtStart
		a.Title += ", by " + act.AtStart + " on " + t.Created.UTC().Format("2006-01-02 15:04 UTC")
	}
	if !t.Expires.IsZero() {
		a.Details["expires"] = t.Expires.UTC().Format(time.RFC3339Nano)
	}
	if t.Second != "" {
		a.Details["second_token"] = t.Second
	}
	return a
}

func revoked(t *access.Token) *act.Act {
	return &act.Act{
		What: act.TokenRevoked, ID: "token-" + t.ID + "-revoked", About: "tokens/" + t.ID, By: t.Revoker, Token: t.RevokedBy,
		Title: fmt.Sprintf("token %s of %s revoked", t.ID, t.Person), Details: map[string]string{"person": t.Person, "revoked": t.Revoked.UTC().Format(time.RFC3339Nano)},
	}
}

func askedActs(ctx context.Context, w store.NoteWrite) []*act.Act {
	if w.Body == nil {
		return nil
	}
	key := w.Key[:min(12, len(w.Key))]
	a := &act.Act{What: act.TokenAsked, ID: "ask-" + key + "-" + strconv.FormatInt(w.Time.UnixNano(), 36), About: "tokens", Title: "a token asked for that a second administrator has to ask for, too"}
	var asked struct {
		For   string        `json:"for"`
		Roles []access.Role `json:"roles"`
	}
	if json.Unmarshal(w.Body, &asked) == nil && asked.For != "" {
		a.Title = "a token for " + asked.For + " asked for; a second administrator has to ask for it, too"
		a.Details = map[string]string{"person": asked.For}
	}
	return []*act.Act{who(ctx, a)}
}

// keyActs is the change of the library's signing key to another.
func keyActs(ctx context.Context, w store.NoteWrite) []*act.Act {
	if !strings.HasPrefix(w.Key, "handover-") || w.Body == nil {
		return nil
	}
	return []*act.Act{who(ctx, &act.Act{
		What: act.KeyChanged, ID: "key-" + short(string(w.Body)), About: "keys/ledger", Title: "the library's signing key changed; the old key signed the new one",
		Details: map[string]string{"handover": string(w.Body)},
	})}
}

func correctionActs(ctx context.Context, was, now *desk.Correction) []*act.Act {
	about := "corrections/" + now.ID
	id := func(word string, n int) string { return "correction-" + now.ID + "-" + word + "-" + strconv.Itoa(n) }
	var out []*act.Act
	for i := len(was.Decisions); i < len(now.Decisions); i++ {
		d := now.Decisions[i]
		a := &act.Act{What: act.Rejected, ID: id("rejected", i+1), About: about, By: d.By, Title: fmt.Sprintf("correction %s rejected by %s", now.ID, d.By),
			Details: map[string]string{"content": d.Content, "authors": strings.Join(now.Authors, "; ")}}
		if d.Approved {
			a.What, a.ID, a.Title = act.Approved, id("approved", i+1), fmt.Sprintf("correction %s approved by %s", now.ID, d.By)
		}
		if d.Comment != "" {
			a.Details["comment"] = d.Comment
		}
		a.Details["records"] = records(now)
		out = append(out, token(ctx, a))
	}
	for i := len(was.Signatures); i < len(now.Signatures); i++ {
		s := now.Signatures[i]
		out = append(out, token(ctx, &act.Act{What: act.Signed, ID: id("signed", i+1), About: about, By: s.By, Title: fmt.Sprintf("correction %s signed by %s with a key of their own", now.ID, s.By),
			Details: map[string]string{"content": now.Content, "signature": s.Note}}))
	}
	if now.State == desk.Withdrawn && was.State != desk.Withdrawn && now.End != nil {
		a := &act.Act{What: act.Withdrawn, ID: id("withdrawn", 1), About: about, By: now.End.By, Title: fmt.Sprintf("correction %s withdrawn by %s", now.ID, now.End.By)}
		if now.End.Comment != "" {
			a.Details = map[string]string{"comment": now.End.Comment}
		}
		out = append(out, token(ctx, a))
	}
	return out
}

// token notes by which token an act was done whose person is known.
func token(ctx context.Context, a *act.Act) *act.Act {
	if by := access.Caller(ctx); by != nil {
		a.Token = by.ID
	}
	return a
}

// records names the records of a correction, with the hashes of their documents.
func records(c *desk.Correction) string {
	var parts []string
	for _, d := range c.Drafts {
		parts = append(parts, strings.TrimSpace(string(d.Name)+" "+d.Hash))
	}
	return strings.Join(parts, "; ")
}

func released(ctx context.Context, r store.Release) *act.Act {
	a := &act.Act{
		What: act.Released, ID: "release-" + short(r.Name), About: "releases/" + r.Name, Title: fmt.Sprintf("position %d named release %s", r.Position, r.Name),
		Details: map[string]string{"position": strconv.FormatInt(r.Position, 10)},
	}
	if r.Note != "" {
		a.Details["note"] = r.Note
	}
	a = who(ctx, a)
	a.By = cmp.Or(r.By, a.By)
	return a
}

// releaseOf returns the release that an act names.
func releaseOf(a *act.Act, at time.Time) (store.Release, error) {
	position, err := strconv.ParseInt(a.Details["position"], 10, 64)
	if err != nil {
		return store.Release{}, fmt.Errorf("act %s: %w: it names no position", a.ID, store.ErrCorrupt)
	}
	return store.Release{Name: strings.TrimPrefix(a.About, "releases/"), Position: position, Note: a.Details["note"], By: a.By, Time: at}, nil
}

// waivers returns the acts of the waivers that a publication gives or ends. They follow
// from what is published alone, so that publishing it again makes the same.
func (s *Store) waivers(ctx context.Context, p store.Publication) ([]*act.Act, error) {
	var out []*act.Act
	for _, c := range p.Changes {
		if c.Name.IsAct() {
			continue
		}
		after, err := waiversOf(c.Document)
		if err != nil {
			return nil, nil // the store says what is wrong with it
		}
		var before []specdata.Waiver
		if c.Base > 0 {
			old, err := s.GetRevision(ctx, c.Name, c.Base)
			switch {
			case errors.Is(err, store.ErrNotFound):
				continue // the store says so
			case err != nil:
				return nil, err
			}
			if before, err = waiversOf(old.Document); err != nil || old.Withdrawn {
				before = nil
			}
		}
		for _, w := range after {
			if !slices.Contains(before, w) {
				out = append(out, waived(act.WaiverGiven, p, c, w))
			}
		}
		for _, w := range before {
			if !slices.Contains(after, w) {
				out = append(out, waived(act.WaiverEnded, p, c, w))
			}
		}
	}
	return out, nil
}

func waiversOf(doc []byte) ([]specdata.Waiver, error) {
	var head struct{ Waivers []specdata.Waiver }
	if doc == nil || !bytes.Contains(doc, []byte(`"waivers"`)) {
		return nil, nil
	}
	err := json.Unmarshal(doc, &head)
	return head.Waivers, err
}

// waived is the act of whoever let the waiver in or ended it: the reviewer of the
// publication, where there is none its author. The person whom the waiver itself names is
// in the details where that is another.
func waived(what act.What, p store.Publication, c store.Change, w specdata.Waiver) *act.Act {
	by := p.Reviewer
	if by == "" && len(p.Authors) > 0 {
		by = p.Authors[0]
	}
	said := "finding %s of %s at %s accepted by %s"
	if what == act.WaiverEnded {
		said = "waiver of %s of %s at %s ended by %s"
	}
	details := map[string]string{"rule": w.Rule, "at": w.At, "value": w.Value, "reason": w.Reason, "until": string(w.Until), "revision": strconv.FormatInt(c.Base+1, 10)}
	if !person.Same(by, w.By) {
		details["names"] = w.By
	}
	return &act.Act{
		What: what, ID: fmt.Sprintf("%s-%s", what, short(string(c.Name), strconv.FormatInt(c.Base+1, 10), w.Rule, w.At, w.Value, w.Reason, w.By, string(w.Until))),
		About: string(c.Name), By: by, Title: fmt.Sprintf(said, w.Rule, c.Name, w.At, by), Details: details,
	}
}
