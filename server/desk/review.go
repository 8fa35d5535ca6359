package desk

import (
	"context"
	"slices"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/specdata"
)

// Approve binds to the content hash that the reviewer saw. It is refused to whoever
// wrote a part of the correction, where the content or the records under it moved,
// and where findings block.
func (d *Desk) Approve(ctx context.Context, a Actor, id, content, comment, requestID string) (*Correction, error) {
	if err := a.decides(content); err != nil {
		return nil, err
	}
	if err := checkText("comment", comment, 0, maxComment); err != nil {
		return nil, err
	}
	return d.do(ctx, a, requestID, request{Do: "approve", ID: id, Content: content, Comment: comment}, func() (*step, error) {
		c, err := d.seenBy(ctx, a, id, content, "approved", Open)
		if err != nil {
			return nil, err
		}
		now, err := d.head(ctx)
		if err != nil {
			return nil, err
		}
		if err := d.still(ctx, now, c); err != nil {
			return nil, err
		}
		if err := d.accepts(ctx, c, a); err != nil {
			return nil, err
		}
		c.State, c.Updated = Approved, d.now().UTC()
		c.Decisions = append(c.Decisions, Decision{By: a.Name, Approved: true, Content: content, Comment: comment, Time: c.Updated})
		return &step{c: c}, nil
	})
}

// still judges a correction again on the library as it is. The error says where its
// content would be another there, or findings block.
func (d *Desk) still(ctx context.Context, now *snapshot.Snapshot, c *Correction) error {
	drafts, err := d.carryAll(ctx, now, c.Drafts)
	if err != nil {
		return err
	}
	fresh := *c
	fresh.Drafts = drafts
	sortDrafts(fresh.Drafts)
	hash, err := contentOf(&fresh)
	if err != nil {
		return err
	}
	if hash != c.Content {
		name := moved(c.Drafts, drafts)
		return fault.New(fault.RecheckRequired, "record %s was changed by another publication, and merging with it makes the content of correction %s another than the one that was seen; recheck it, then have the merged content approved", name, c.ID).
			With("correction", c.ID).With("record", string(name))
	}
	if err := d.finish(ctx, now, &fresh); err != nil {
		return err
	}
	if err := fresh.blocked(); err != nil {
		return err
	}
	*c = fresh
	return nil
}

// accepts returns an error where a correction gives a waiver in the name of another person
// than the one who approves: nobody accepts a finding in another's name.
func (d *Desk) accepts(ctx context.Context, c *Correction, approver Actor) error {
	for _, draft := range c.Drafts {
		var before []byte
		if draft.Base > 0 {
			r, err := d.follower.Store.GetRevision(ctx, draft.Name, draft.Base)
			if err != nil {
				return err
			}
			if !r.Withdrawn {
				before = r.Document
			}
		}
		for _, w := range specdata.WaiversGiven(before, draft.Document) {
			if !approver.is(w.By) {
				return fault.New(fault.WaiverOfAnother, "waiver of %s in %s is by %s; only %[3]s can approve it, not %[4]s; have %[3]s approve correction %[5]s, or amend the waiver",
					specdata.Shorten(w.Rule), draft.Name, specdata.Shorten(w.By), approver.Name, c.ID).
					With("correction", c.ID).With("record", string(draft.Name)).With("actor", approver.Name)
			}
		}
	}
	return nil
}

// moved returns the first record that is not in both lists alike.
func moved(old, new []Draft) specdata.Name {
	for _, d := range old {
		if !slices.ContainsFunc(new, func(n Draft) bool { return n.Name == d.Name && n.Hash == d.Hash }) {
			return d.Name
		}
	}
	return ""
}

// Reject closes a correction that a reviewer does not want; comment says why.
func (d *Desk) Reject(ctx context.Context, a Actor, id, content, comment, requestID string) (*Correction, error) {
	if err := a.decides(content); err != nil {
		return nil, err
	}
	if err := checkText("comment", comment, minReason, maxComment); err != nil {
		return nil, err
	}
	return d.do(ctx, a, requestID, request{Do: "reject", ID: id, Content: content, Comment: comment}, func() (*step, error) {
		c, err := d.seenBy(ctx, a, id, content, "rejected", Open, Approved)
		if err != nil {
			return nil, err
		}
		c.State, c.Updated = Rejected, d.now().UTC()
		c.Decisions = append(c.Decisions, Decision{By: a.Name, Content: content, Comment: comment, Time: c.Updated})
		c.End = &End{By: a.Name, Comment: comment, Time: c.Updated}
		return &step{c: c}, nil
	})
}

// decides returns what is wrong with a decision's person or content hash, or nil.
func (a Actor) decides(content string) error {
	if err := a.valid(); err != nil {
		return err
	}
	_, err := ask.ContentHash(content)
	return err
}

// seenBy returns a correction for another person's decision on the content they saw.
func (d *Desk) seenBy(ctx context.Context, a Actor, id, content, done string, states ...State) (*Correction, error) {
	c, err := d.get(ctx, id, done, states...)
	switch {
	case err != nil:
		return nil, err
	case slices.ContainsFunc(c.Authors, a.is):
		return nil, fault.New(fault.SelfReview, "%s wrote a part of correction %s; another person has to review it", a.Name, id).
			With("correction", id).With("actor", a.Name)
	case c.Content != content:
		return nil, fault.New(fault.CorrectionMoved, "correction %s has content %s, the decision is on %s; read it again, look at what changed, then decide", id, c.Content, specdata.Shorten(content)).
			With("correction", id).With("current", c.Content).With("found", specdata.Shorten(content))
	}
	return c, nil
}

// Withdraw closes a correction for one of its authors.
func (d *Desk) Withdraw(ctx context.Context, a Actor, id string, version int64, comment, requestID string) (*Correction, error) {
	if err := a.valid(); err != nil {
		return nil, err
	}
	if err := checkText("comment", comment, 0, maxComment); err != nil {
		return nil, err
	}
	return d.do(ctx, a, requestID, request{Do: "withdraw", ID: id, Version: version, Comment: comment}, func() (*step, error) {
		c, err := d.under(ctx, id, version, "withdrawn", Open, Approved)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(c.Authors, a.is) {
			return nil, fault.New(fault.NotAuthor, "%s wrote no part of correction %s; only an author withdraws it, a reviewer may reject it", a.Name, id).
				With("correction", id).With("actor", a.Name)
		}
		c.State, c.Updated = Withdrawn, d.now().UTC()
		c.End = &End{By: a.Name, Comment: comment, Time: c.Updated}
		return &step{c: c}, nil
	})
}

// Publish publishes an approved correction as one position: exactly what was
// approved, judged on the very library that it becomes a part of.
func (d *Desk) Publish(ctx context.Context, a Actor, id string, version int64, requestID string) (*Correction, error) {
	if err := a.valid(); err != nil {
		return nil, err
	}
	select { // one after the other: of several at once, all but one would be judged in vain
	case d.publishing <- struct{}{}:
		defer func() { <-d.publishing }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	return d.do(ctx, a, requestID, request{Do: "publish", ID: id, Version: version}, func() (*step, error) {
		c, err := d.under(ctx, id, version, "published", Approved)
		if err != nil {
			return nil, err
		}
		reviewer, ok := c.approver()
		if !ok {
			return nil, fault.New(fault.CorrectionState, "correction %s has no approval of its content by another person; have it approved", id).
				With("correction", id).With("state", string(c.State))
		}
		now, err := d.head(ctx)
		if err != nil {
			return nil, err
		}
		if err := d.still(ctx, now, c); err != nil {
			return nil, err
		}
		if err := d.accepts(ctx, c, Actor{Name: reviewer}); err != nil {
			return nil, err
		}
		if c.Reach, err = d.reach(ctx, now, c); err != nil {
			return nil, err
		}
		c.State = Published
		c.End = &End{By: a.Name}
		return &step{c: c, publication: d.publication(c, reviewer), follows: now.Position()}, nil
	})
}

// approver returns who approved the present content, never one of its authors.
func (c *Correction) approver() (name string, ok bool) {
	for _, x := range slices.Backward(c.Decisions) {
		if x.Approved && x.Content == c.Content && !slices.ContainsFunc(c.Authors, Actor{Name: x.By}.is) {
			return x.By, true
		}
	}
	return "", false
}
