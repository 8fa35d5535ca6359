package desk

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/specdata"
	"proofload/specdata/person"
)

// Limits of what people write, in characters.
const (
	minReason   = 10
	maxReason   = 2000
	maxEvidence = 20
	maxPiece    = 500
	maxComment  = 2000
)

// Propose checks and keeps a proposal; with validateOnly it keeps nothing, and the
// correction has no id.
func (d *Desk) Propose(ctx context.Context, a Actor, p Proposal, validateOnly bool) (*Correction, error) {
	if err := a.valid(); err != nil {
		return nil, err
	}
	if err := p.valid(); err != nil {
		return nil, err
	}
	if len(p.Changes) == 0 {
		return nil, fault.Field("changes", "correction changes no record; give at least one change")
	}
	if err := checkReason(p.Reason); err != nil {
		return nil, err
	}
	try := func() (*step, error) {
		now, err := d.head(ctx)
		if err != nil {
			return nil, err
		}
		c := &Correction{State: Open, Reason: p.Reason, Evidence: p.Evidence, Authors: []string{a.Name}}
		c.Created = d.now().UTC()
		c.Updated = c.Created
		if c.Drafts, err = d.draftAll(ctx, now, p.Changes); err != nil {
			return nil, err
		}
		if err := d.finish(ctx, now, c); err != nil {
			return nil, err
		}
		if !validateOnly {
			c.ID = newID(c.Created)
		}
		return &step{c: c}, nil
	}
	if validateOnly {
		s, err := try()
		if err != nil {
			return nil, err
		}
		return s.c, nil
	}
	return d.do(ctx, a, p.RequestID, p.request("propose", "", 0), try)
}

// Amend replaces changes (by record), reason and evidence where given, and opens
// again what was approved. version is what the caller saw.
func (d *Desk) Amend(ctx context.Context, a Actor, id string, version int64, p Proposal) (*Correction, error) {
	if err := a.valid(); err != nil {
		return nil, err
	}
	if err := p.valid(); err != nil {
		return nil, err
	}
	if p.Reason != "" {
		if err := checkReason(p.Reason); err != nil {
			return nil, err
		}
	}
	return d.do(ctx, a, p.RequestID, p.request("amend", id, version), func() (*step, error) {
		c, err := d.under(ctx, id, version, "amended", Open, Approved)
		if err != nil {
			return nil, err
		}
		now, err := d.head(ctx)
		if err != nil {
			return nil, err
		}
		before := c.Content
		if err := d.replace(ctx, now, c, p.Changes); err != nil {
			return nil, err
		}
		if p.Reason != "" {
			c.Reason = p.Reason
		}
		if len(p.Evidence) > 0 {
			c.Evidence = p.Evidence
		}
		if !slices.ContainsFunc(c.Authors, a.is) {
			c.Authors = append(c.Authors, a.Name)
		}
		c.State, c.Updated = Open, d.now().UTC()
		if err := d.finish(ctx, now, c); err != nil {
			return nil, err
		}
		if c.Content == before {
			return nil, fault.New(fault.NothingChanged, "correction %s would stay as it is; amend its changes, its reason or its evidence", id).With("correction", id)
		}
		return &step{c: c}, nil
	})
}

// replace puts changes in place of the drafts of their records and brings the other
// drafts onto the newest revisions.
func (d *Desk) replace(ctx context.Context, now *snapshot.Snapshot, c *Correction, changes []Change) error {
	var real []Change
	keep := slices.Clone(c.Drafts)
	for i, x := range changes {
		had := len(keep)
		keep = slices.DeleteFunc(keep, func(d Draft) bool { return d.Name == x.Name })
		switch {
		case !x.Drop:
			real = append(real, x)
		case x != (Change{Name: x.Name, Drop: true}):
			return fault.Field(fmt.Sprintf("changes[%d]", i), "change of %s both drops the record and changes it; do one of the two", x.Name)
		case len(keep) == had:
			return fault.Field(fmt.Sprintf("changes[%d]", i), "correction does not change %s, so it cannot be dropped from it", x.Name)
		}
	}
	fresh, err := d.draftAll(ctx, now, real)
	if err != nil {
		return err
	}
	if keep, err = d.carryAll(ctx, now, keep); err != nil {
		return err
	}
	c.Drafts = slices.Concat(keep, fresh)
	return nil
}

// Recheck merges onto the newest revisions and checks again. Where that changes the
// content, or something new blocks, approvals fall.
func (d *Desk) Recheck(ctx context.Context, a Actor, id, requestID string) (*Correction, error) {
	if err := a.valid(); err != nil {
		return nil, err
	}
	return d.do(ctx, a, requestID, request{Do: "recheck", ID: id}, func() (*step, error) {
		c, err := d.get(ctx, id, "rechecked", Open, Approved)
		if err != nil {
			return nil, err
		}
		now, err := d.head(ctx)
		if err != nil {
			return nil, err
		}
		before := *c
		if c.Drafts, err = d.carryAll(ctx, now, c.Drafts); err != nil {
			return nil, err
		}
		if err := d.finish(ctx, now, c); err != nil {
			return nil, err
		}
		if c.same(&before) {
			return &step{c: &before, same: true}, nil
		}
		if c.Content != before.Content || c.Findings.Blocking > 0 {
			c.State = Open
		}
		c.Updated = d.now().UTC()
		return &step{c: c}, nil
	})
}

// same reports whether a check found nothing that it did not find before.
func (c *Correction) same(o *Correction) bool {
	if c.Content != o.Content || c.CheckedAt != o.CheckedAt {
		return false
	}
	same := func(a, b specdata.Finding) bool { return a.Identity == b.Identity && a.Waived == b.Waived }
	return slices.EqualFunc(c.Findings.New, o.Findings.New, same) &&
		slices.EqualFunc(c.Findings.Mended, o.Findings.Mended, same) &&
		slices.EqualFunc(c.Findings.Unchanged, o.Findings.Unchanged, same)
}

// finish judges a correction whose drafts are worked out, and hashes its content.
func (d *Desk) finish(ctx context.Context, now *snapshot.Snapshot, c *Correction) (err error) {
	sortDrafts(c.Drafts)
	size := 0
	for i := range c.Drafts {
		size += len(c.Drafts[i].Document)
	}
	switch {
	case len(c.Drafts) == 0:
		return fault.New(fault.NothingChanged, "correction changes nothing any more: what it would change is published already, or dropped; withdraw it")
	case len(c.Drafts) > MaxRecords:
		return fault.Field("changes", "correction changes %d records; allowed: %d; split it into several", len(c.Drafts), MaxRecords)
	case size > maxDocuments:
		return fault.New(fault.LimitSize, "documents of the correction come to %d bytes; allowed: %d; split it into several", size, maxDocuments)
	}
	if c.Findings, err = d.check(ctx, now, c.Drafts); err != nil {
		return err
	}
	c.CheckedAt = now.Position()
	c.Content, err = contentOf(c)
	return err
}

// head returns the library as it is.
func (d *Desk) head(ctx context.Context) (*snapshot.Snapshot, error) {
	position, err := d.follower.Head(ctx)
	if err != nil {
		return nil, err
	}
	return d.follower.At(ctx, position), nil
}

// get returns a correction that stands in one of some states.
func (d *Desk) get(ctx context.Context, id, done string, states ...State) (*Correction, error) {
	c, err := d.Get(ctx, id)
	if err != nil {
		return nil, err
	}
	if !slices.Contains(states, c.State) {
		return nil, fault.New(fault.CorrectionState, "correction %s is %s; only one that is %s can be %s", id, c.State, either(states), done).
			With("correction", id).With("state", string(c.State))
	}
	return c, nil
}

func either(states []State) string {
	words := make([]string, len(states))
	for i, s := range states {
		words[i] = string(s)
	}
	return strings.Join(words, " or ")
}

// under returns a correction at the version that the caller saw.
func (d *Desk) under(ctx context.Context, id string, version int64, done string, states ...State) (*Correction, error) {
	if version <= 0 {
		return nil, fault.New(fault.EtagRequired, "request does not say which version of correction %s it is about; send the etag that was read with it", specdata.Shorten(id)).
			With("correction", specdata.Shorten(id))
	}
	c, err := d.get(ctx, id, done, states...)
	if err != nil {
		return nil, err
	}
	if c.Version != version {
		return nil, fault.New(fault.EtagMismatch, "correction %s is at version %d, the request is about version %d; read it again, then decide", id, c.Version, version).
			With("correction", id).With("current", strconv.FormatInt(c.Version, 10)).With("found", strconv.FormatInt(version, 10))
	}
	return c, nil
}

// valid returns what is wrong with the name of an actor, or nil.
func (a Actor) valid() error {
	if strings.TrimSpace(a.Name) == "" || len(a.Name) > maxActor || !utf8.ValidString(a.Name) || specdata.UnseenError("name", a.Name) != nil {
		return fault.Field("actor", "name of a person %q has %d bytes; allowed: 1 to %d of plain text", specdata.Shorten(a.Name), len(a.Name), maxActor)
	}
	return nil
}

// is compares people: a second token in capitals or in look-alike letters is no second person.
func (a Actor) is(name string) bool { return person.Same(a.Name, name) }

func (p *Proposal) request(do, id string, version int64) request {
	return request{Do: do, ID: id, Version: version, Changes: p.Changes, Reason: p.Reason, Evidence: p.Evidence}
}

// valid checks the form of a proposal.
func (p *Proposal) valid() error {
	if n := len(p.Changes); n > MaxRecords {
		return fault.Field("changes", "correction changes %d records; allowed: %d; split it into several", n, MaxRecords)
	}
	seen := map[specdata.Name]bool{}
	size := 0
	for i, c := range p.Changes {
		if _, err := specdata.ParseName(string(c.Name)); err != nil {
			return fault.Field(fmt.Sprintf("changes[%d].record", i), "%v", err)
		}
		if seen[c.Name] {
			return fault.Field(fmt.Sprintf("changes[%d].record", i), "record %s is changed twice; join the two changes", c.Name).With("record", string(c.Name))
		}
		seen[c.Name] = true
		for _, part := range []string{c.MergePatch, c.JSONPatch, c.Document} {
			size += len(part)
			if len(part) > maxDocument {
				return fault.New(fault.LimitSize, "change of %s has %d bytes; allowed: %d", c.Name, len(part), maxDocument).With("record", string(c.Name))
			}
		}
	}
	if size > maxDocuments {
		return fault.New(fault.LimitSize, "changes have %d bytes; allowed: %d; split them into several corrections", size, maxDocuments)
	}
	if n := len(p.Evidence); n > maxEvidence {
		return fault.Field("evidence", "evidence has %d pieces; allowed: %d", n, maxEvidence)
	}
	for i, e := range p.Evidence {
		if err := checkText(fmt.Sprintf("evidence[%d]", i), e, 1, maxPiece); err != nil {
			return err
		}
	}
	return nil
}

func checkReason(reason string) error { return checkText("reason", reason, minReason, maxReason) }

// checkText checks what a person wrote.
func checkText(field, text string, least, most int) error {
	n := utf8.RuneCountInString(strings.TrimSpace(text))
	switch {
	case n < least:
		return fault.Field(field, "%s has %d characters; say in at least %d what readers of the history have to know", field, n, least)
	case utf8.RuneCountInString(text) > most:
		return fault.Field(field, "%s has %d characters; allowed: %d", field, utf8.RuneCountInString(text), most)
	case !utf8.ValidString(text):
		return fault.Field(field, "%s is not UTF-8; write plain text", field)
	}
	if err := specdata.UnseenError(field, text); err != nil {
		return fault.Field(field, "%v", err)
	}
	return nil
}
