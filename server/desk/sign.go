package desk

import (
	"context"
	"slices"

	"proofload/server/fault"
	"proofload/server/ledger/personal"
)

// maxSignatures bounds the signatures of a correction, maxSignature each, in bytes.
const (
	maxSignatures = 20
	maxSignature  = 4096
)

// Sign adds a person's own signature on the content that a correction has now: of an
// author, or of the reviewer who approved it. library is the origin that it has to name.
// Whether it is made with that person's key is for anyone who knows the key to verify.
func (d *Desk) Sign(ctx context.Context, a Actor, id, library, signed, requestID string) (*Correction, error) {
	if err := a.valid(); err != nil {
		return nil, err
	}
	if len(signed) > maxSignature {
		return nil, fault.Field("note", "note has %d bytes; allowed: %d", len(signed), maxSignature)
	}
	says, keys, err := personal.Read(signed)
	if err != nil {
		return nil, fault.Field("note", "note: %v", err)
	}
	key, err := personal.KeyName(a.Name)
	switch {
	case err != nil || len(keys) != 1 || keys[0] != key:
		return nil, fault.Field("note", "note is signed with the keys %q; it needs one signature, with a key of %s", keys, a.Name)
	case says.Person != a.Name:
		return nil, fault.Field("note", "note is the word of %s, the token of %s; people sign for themselves", says.Person, a.Name)
	case says.Library != library:
		return nil, fault.Field("note", "note is about library %s, this is %s", says.Library, library)
	}
	return d.do(ctx, a, requestID, request{Do: "sign", ID: id, Comment: signed}, func() (*step, error) {
		c, err := d.get(ctx, id, "signed", Open, Approved)
		if err != nil {
			return nil, err
		}
		approved := slices.ContainsFunc(c.Decisions, func(x Decision) bool { return x.Approved && x.Content == c.Content && a.is(x.By) })
		switch {
		case says.Content != c.Content:
			return nil, fault.New(fault.CorrectionMoved, "correction %s has content %s, the signature is on %s; read it again and sign what it says now", id, c.Content, says.Content).
				With("correction", id).With("current", c.Content)
		case says.Role == personal.Author && !slices.ContainsFunc(c.Authors, a.is):
			return nil, fault.New(fault.NotAuthor, "%s wrote no part of correction %s and cannot sign as its author", a.Name, id).With("correction", id).With("actor", a.Name)
		case says.Role == personal.Reviewer && !approved:
			return nil, fault.New(fault.CorrectionState, "%s has not approved the content of correction %s; approve it, then sign it as its reviewer", a.Name, id).With("correction", id).With("state", string(c.State))
		case len(c.Signatures) >= maxSignatures:
			return nil, fault.New(fault.LimitSize, "correction %s has %d signatures; no more fit", id, len(c.Signatures))
		}
		if slices.ContainsFunc(c.Signatures, func(s Signature) bool { return s.Note == signed }) {
			return &step{c: c, same: true}, nil
		}
		c.Updated = d.now().UTC()
		c.Signatures = append(c.Signatures, Signature{By: a.Name, Note: signed, Time: c.Updated})
		return &step{c: c}, nil
	})
}
