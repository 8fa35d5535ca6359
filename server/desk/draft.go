package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"proofload/server/fault"
	"proofload/server/ledger/personal"
	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/change"
	"proofload/specdata/document"
)

// Limits of one correction.
const (
	// MaxRecords is how many records one correction may change.
	MaxRecords = 100
	// maxDocuments bounds the documents of a correction together, in bytes.
	maxDocuments = 2 << 20
)

// draftAll works out changes on top of a snapshot. Nothing of it is stored: the
// first change that cannot be, or all fields that clash, are the error.
func (d *Desk) draftAll(ctx context.Context, now *snapshot.Snapshot, changes []Change) ([]Draft, error) {
	var drafts []Draft
	var clashes []fault.Clash
	for i, c := range changes {
		proposed, err := d.propose(ctx, now, fmt.Sprintf("changes[%d]", i), c)
		if err != nil {
			return nil, err
		}
		draft, more, err := d.carry(ctx, now, *proposed)
		switch {
		case err != nil:
			return nil, err
		case len(more) > 0:
			clashes = append(clashes, more...)
		case draft == nil:
			return nil, nothing(c.Name, "its change is published already")
		default:
			drafts = append(drafts, *draft)
		}
	}
	if len(clashes) > 0 {
		return nil, clash(clashes)
	}
	return drafts, nil
}

func nothing(name specdata.Name, why string) error {
	return fault.New(fault.NothingChanged, "record %s would stay as it is: %s; leave it out or change something", name, why).With("record", string(name))
}

// propose turns a change into what its author meant: a document on the revision the
// author saw.
func (d *Desk) propose(ctx context.Context, now *snapshot.Snapshot, field string, c Change) (*Draft, error) {
	forms := 0
	for _, given := range []bool{c.MergePatch != "", c.JSONPatch != "", c.Document != "", c.Withdraw} {
		if given {
			forms++
		}
	}
	if forms != 1 {
		return nil, fault.Field(field, "change of %s is given in %d ways; give exactly one of merge_patch, json_patch, document and withdraw", shown(c.Name), forms)
	}
	current, err := now.Record(c.Name)
	if err != nil {
		return nil, err
	}
	if current == nil {
		if c.Base != 0 || c.BaseHash != "" || c.Document == "" {
			return nil, fault.New(fault.RecordNotFound, "record %s does not exist; check the spelling, or propose it as a new record with a whole document and no base", c.Name).With("record", string(c.Name))
		}
		return d.document(field, Draft{Name: c.Name}, []byte(c.Document))
	}
	base, err := d.base(ctx, field, c, current.Revision)
	if err != nil {
		return nil, err
	}
	draft := Draft{Name: c.Name, Base: base.Number}
	if c.Withdraw {
		if current.Revision.Withdrawn {
			return nil, withdrawn(current.Revision)
		}
		return &draft, nil
	}
	text := []byte(c.Document)
	switch {
	case c.MergePatch != "":
		text, err = MergePatch(base.Document, []byte(c.MergePatch))
	case c.JSONPatch != "":
		text, err = JSONPatch(base.Document, []byte(c.JSONPatch))
	}
	if err != nil {
		return nil, badPatch(field, c.Name, err)
	}
	out, err := d.document(field, draft, text)
	if err != nil {
		return nil, err
	}
	if out.Hash == base.Hash && !base.Withdrawn {
		return nil, nothing(c.Name, fmt.Sprintf("it says what revision %d says", base.Number))
	}
	return out, nil
}

// base finds the revision that a change was made against.
func (d *Desk) base(ctx context.Context, field string, c Change, current *store.Revision) (*store.Revision, error) {
	if c.Base == 0 && c.BaseHash == "" {
		if current.Withdrawn {
			return nil, withdrawn(current)
		}
		return nil, fault.New(fault.BaseRequired, "record %s exists, at revision %d; say which revision the change was made against", c.Name, current.Number).
			With("record", string(c.Name)).With("current", strconv.FormatInt(current.Number, 10)).With("field", field+".base")
	}
	base, err := d.seen(ctx, field, c, current)
	if err != nil {
		return nil, err
	}
	if current.Withdrawn && base.Number != current.Number {
		return nil, withdrawn(current)
	}
	return base, nil
}

func (d *Desk) seen(ctx context.Context, field string, c Change, current *store.Revision) (*store.Revision, error) {
	number := strconv.FormatInt(current.Number, 10)
	if c.Base == 0 {
		for before := int64(0); ; {
			revs, err := d.follower.Store.Revisions(ctx, c.Name, current.Position, before, 100)
			if err != nil {
				return nil, err
			}
			for _, r := range revs {
				if r.Hash == c.BaseHash && !r.Withdrawn {
					return r, nil
				}
				before = r.Number
			}
			if before <= 1 || len(revs) == 0 {
				return nil, fault.Field(field+".base_hash", "no revision of %s has a document of hash %s; the newest revision is %s, hash %s", c.Name, specdata.Shorten(c.BaseHash), number, current.Hash).
					With("record", string(c.Name)).With("current", number)
			}
		}
	}
	unknown := fault.Field(field+".base", "record %s has no revision %d; the newest is %s", c.Name, c.Base, number).
		With("record", string(c.Name)).With("current", number)
	if c.Base < 0 || c.Base > current.Number {
		return nil, unknown
	}
	base, err := d.follower.Store.GetRevision(ctx, c.Name, c.Base)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, unknown
	case err != nil:
		return nil, err
	case c.BaseHash != "" && base.Hash != c.BaseHash:
		return nil, fault.Field(field+".base_hash", "revision %d of %s has hash %s, the change names %s; give one of the two", c.Base, c.Name, base.Hash, specdata.Shorten(c.BaseHash)).
			With("record", string(c.Name))
	}
	return base, nil
}

func withdrawn(current *store.Revision) error {
	return fault.New(fault.RecordWithdrawn, "record %s was withdrawn at revision %d; to bring it back, make the change against that revision", current.Name, current.Number).
		With("record", string(current.Name)).With("current", strconv.FormatInt(current.Number, 10))
}

func badPatch(field string, name specdata.Name, err error) error {
	e := fault.New(fault.PatchFailed, "record %s: %v", name, err).With("record", string(name)).With("field", field)
	var op *PatchError
	if errors.As(err, &op) {
		e.Violations = []fault.Violation{{Field: op.Pointer, Description: op.Error()}}
		e.With("operation", strconv.Itoa(op.Index)).With("pointer", op.Pointer)
	}
	return e
}

// document reads what a record would become and puts it into the draft.
func (d *Desk) document(field string, draft Draft, text []byte) (*Draft, error) {
	doc, findings := document.Read("", text)
	if doc == nil {
		e := fault.New(fault.DocumentUnreadable, "record %s would not be in order: %s", draft.Name, findings[0].Message).
			With("record", string(draft.Name)).With("field", field)
		for _, f := range findings {
			e.Violations = append(e.Violations, fault.Violation{Field: f.Pointer, Description: f.Message})
		}
		return nil, e
	}
	if name := doc.Record.Name(); name != draft.Name {
		pointer := "/id"
		if name.Kind() != draft.Name.Kind() {
			pointer = "/kind"
		}
		e := fault.New(fault.DocumentUnreadable, "document names record %s, the change is of %s; a record keeps its name, propose the other as a new record and withdraw this one", name, draft.Name).
			With("record", string(draft.Name)).With("field", field).With("found", string(name))
		e.Violations = []fault.Violation{{Field: pointer, Description: e.Message}}
		return nil, e
	}
	draft.Document, draft.Hash = doc.Canonical, doc.Hash
	return &draft, nil
}

// carry brings a draft onto the newest revision of its record. It returns nil where
// nothing is left to do, and the fields that both sides changed where there are any.
func (d *Desk) carry(ctx context.Context, now *snapshot.Snapshot, draft Draft) (*Draft, []fault.Clash, error) {
	current, err := now.Record(draft.Name)
	if err != nil {
		return nil, nil, err
	}
	var at store.Revision // the zero Revision is that of a record that never was
	if current != nil {
		at = *current.Revision
	}
	base := at
	if at.Number != draft.Base {
		done := draft.Document != nil && !at.Withdrawn && at.Hash == draft.Hash || draft.Document == nil && at.Withdrawn
		if done {
			return nil, nil, nil
		}
		base = store.Revision{Withdrawn: true}
		if draft.Base > 0 {
			r, err := d.follower.Store.GetRevision(ctx, draft.Name, draft.Base)
			if err != nil {
				return nil, nil, err
			}
			base = *r
		}
		if draft.Document == nil || base.Withdrawn || at.Withdrawn {
			return nil, []fault.Clash{whole(draft, &base, &at)}, nil
		}
		merged, clashes, err := Merge(base.Document, at.Document, draft.Document)
		if err != nil {
			return nil, nil, err
		}
		if len(clashes) > 0 {
			return nil, wire(draft.Name, clashes), nil
		}
		fresh, err := d.document(string(draft.Name), Draft{Name: draft.Name, Base: at.Number}, merged)
		if err != nil {
			return nil, nil, err
		}
		if fresh.Hash == at.Hash {
			return nil, nil, nil
		}
		draft = *fresh
	}
	draft.Fields = nil
	if draft.Document != nil && at.Number > 0 && !at.Withdrawn {
		if draft.Fields, err = change.Fields(at.Document, draft.Document); err != nil {
			return nil, nil, err
		}
	}
	return &draft, nil, nil
}

// whole is the clash of records that came, went or go as a whole.
func whole(draft Draft, base, at *store.Revision) fault.Clash {
	c := fault.Clash{Record: string(draft.Name), Proposed: cut(string(draft.Document))}
	if !base.Withdrawn {
		c.Base = cut(string(base.Document))
	}
	if !at.Withdrawn {
		c.Current = cut(string(at.Document))
	}
	return c
}

// maxShown is how much of a value an error shows; errors travel in headers.
const maxShown = 300

func cut(s string) string {
	r := []rune(s)
	if len(r) <= maxShown {
		return s
	}
	return string(r[:maxShown]) + "…"
}

func wire(name specdata.Name, cs []Clash) []fault.Clash {
	var out []fault.Clash
	for _, c := range cs {
		out = append(out, fault.Clash{Record: string(name), Pointer: c.Pointer, Base: cut(c.Base), Current: cut(c.Current), Proposed: cut(c.Proposed)})
	}
	return out
}

// maxClashes is how many fields one error shows both sides of.
const maxClashes = 20

func clash(cs []fault.Clash) error {
	first := cs[0]
	e := fault.New(fault.FieldsClash, "record %s changed meanwhile at %s: %d fields were changed differently on both sides; read the newest revision and redo the change on it", first.Record, place(first.Pointer), len(cs)).
		With("record", first.Record).With("clashes", strconv.Itoa(len(cs)))
	e.Clashes = cs[:min(len(cs), maxClashes)]
	for _, c := range e.Clashes {
		e.Violations = append(e.Violations, fault.Violation{Field: c.Pointer, Description: fmt.Sprintf("%s: base %s, current %s, proposed %s", c.Record, orNone(c.Base), orNone(c.Current), orNone(c.Proposed))})
	}
	return e
}

func place(pointer string) string {
	if pointer == "" {
		return "the whole record"
	}
	return pointer
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func shown(n specdata.Name) string { return strconv.Quote(specdata.Shorten(string(n))) }

// carryAll brings drafts onto the newest revisions. Those that are published already
// are left out; fields that clash are the error.
func (d *Desk) carryAll(ctx context.Context, now *snapshot.Snapshot, drafts []Draft) ([]Draft, error) {
	var fresh []Draft
	var clashes []fault.Clash
	for _, old := range drafts {
		draft, more, err := d.carry(ctx, now, old)
		if err != nil {
			return nil, err
		}
		clashes = append(clashes, more...)
		if draft != nil {
			fresh = append(fresh, *draft)
		}
	}
	if len(clashes) > 0 {
		return nil, clash(clashes)
	}
	return fresh, nil
}

// sortDrafts puts drafts in the order of kinds, then of ids, which becomes that of
// the ledger.
func sortDrafts(drafts []Draft) {
	slices.SortFunc(drafts, func(a, b Draft) int {
		return cmp.Or(
			cmp.Compare(slices.Index(specdata.Kinds, a.Name.Kind()), slices.Index(specdata.Kinds, b.Name.Kind())),
			cmp.Compare(a.Name, b.Name),
		)
	})
}

// contentOf hashes what an approval binds to.
func contentOf(c *Correction) (string, error) { return c.Signed().Hash() }

// Signed returns what an approval binds to and what people sign.
func (c *Correction) Signed() personal.Content {
	content := personal.Content{Reason: c.Reason, Evidence: c.Evidence}
	for _, d := range c.Drafts {
		content.Drafts = append(content.Drafts, personal.Part{Name: d.Name, Hash: d.Hash})
	}
	return content
}
