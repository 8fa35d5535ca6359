package desk_test

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/document"
)

// model is the desk in the plainest words. A record is a list of revisions, and a
// document is its two fields that change.
type model struct {
	records     map[specdata.Name][]revision
	corrections []*correction
}

type fields struct{ note, edition string }

type revision struct {
	fields
	withdrawn bool
	// by is the correction that made it, -1 for the first.
	by int
}

type correction struct {
	id      string
	version int64
	state   desk.State
	drafts  map[specdata.Name]draft
	reason  string
	authors []string
	// approved is who approved the present content.
	approved string
	// contents are the contents it has had, as the desk hashed them; the last is the present one.
	contents []string
}

type draft struct {
	fields
	base     int
	withdraw bool
}

func (c *correction) content() string {
	var b strings.Builder
	for _, n := range slices.Sorted(maps.Keys(c.drafts)) {
		d := c.drafts[n]
		fmt.Fprintf(&b, "%s %t %q\n", n, d.withdraw, d.fields)
	}
	return b.String() + c.reason
}

// edit is a change as the model sees it.
type edit struct {
	name     specdata.Name
	base     int
	field    string // note, edition, or withdraw
	value    string
	withdraw bool
}

func (e edit) change() desk.Change {
	if e.withdraw {
		return desk.Change{Name: e.name, Base: int64(e.base), Withdraw: true}
	}
	return patch(e.name, int64(e.base), fmt.Sprintf(`{%q:%q}`, e.field, e.value))
}

func (m *model) newest(n specdata.Name) (revision, int) {
	rs := m.records[n]
	return rs[len(rs)-1], len(rs)
}

// carry brings a draft onto the newest revision; gone says that nothing is left of it.
func (m *model) carry(n specdata.Name, d draft) (out draft, gone bool, kind fault.Kind) {
	now, number := m.newest(n)
	if number == d.base {
		return d, false, ""
	}
	base := m.records[n][d.base-1]
	switch {
	case d.withdraw && now.withdrawn, !d.withdraw && !now.withdrawn && d.fields == now.fields:
		return d, true, ""
	case d.withdraw || base.withdrawn || now.withdrawn:
		return d, false, fault.FieldsClash
	}
	note, ok1 := merge(base.note, now.note, d.note)
	edition, ok2 := merge(base.edition, now.edition, d.edition)
	if !ok1 || !ok2 {
		return d, false, fault.FieldsClash
	}
	d = draft{fields{note, edition}, number, false}
	return d, d.fields == now.fields, ""
}

func merge(base, now, mine string) (string, bool) {
	switch {
	case base == mine:
		return now, true
	case base == now || now == mine:
		return mine, true
	}
	return "", false
}

func (m *model) carryAll(ds map[specdata.Name]draft) (map[specdata.Name]draft, fault.Kind) {
	out := map[specdata.Name]draft{}
	var bad fault.Kind
	for n, d := range ds {
		d, gone, kind := m.carry(n, d)
		bad = cmp.Or(bad, kind)
		if !gone {
			out[n] = d
		}
	}
	return out, bad
}

func (m *model) draft(es []edit) (map[specdata.Name]draft, fault.Kind) {
	out := map[specdata.Name]draft{}
	var bad fault.Kind
	for _, e := range es {
		now, number := m.newest(e.name)
		base := m.records[e.name][e.base-1]
		d := draft{base.fields, e.base, e.withdraw}
		switch {
		case now.withdrawn && e.base != number, now.withdrawn && e.withdraw:
			return nil, fault.RecordWithdrawn
		case e.withdraw:
			d.fields = fields{} // what a withdrawal withdraws is not in the draft
		case e.field == "note":
			d.note = e.value
		case e.field == "edition":
			d.edition = e.value
		}
		if !e.withdraw && d.fields == base.fields && !base.withdrawn {
			return nil, fault.NothingChanged
		}
		d, gone, kind := m.carry(e.name, d)
		if gone {
			return nil, fault.NothingChanged
		}
		bad = cmp.Or(bad, kind)
		out[e.name] = d
	}
	return out, bad
}

func (m *model) propose(by string, es []edit) (*correction, fault.Kind) {
	ds, kind := m.draft(es)
	if kind != "" {
		return nil, kind
	}
	return &correction{version: 1, state: desk.Open, drafts: ds, reason: because, authors: []string{by}}, ""
}

func ended(c *correction) bool { return c.state != desk.Open && c.state != desk.Approved }

func (m *model) amend(c *correction, by string, version int64, es []edit, reason string) fault.Kind {
	switch {
	case ended(c):
		return fault.CorrectionState
	case version != c.version:
		return fault.EtagMismatch
	}
	rest := maps.Clone(c.drafts)
	for _, e := range es {
		delete(rest, e.name)
	}
	ds, kind := m.draft(es)
	if kind != "" {
		return kind
	}
	if rest, kind = m.carryAll(rest); kind != "" {
		return kind
	}
	maps.Copy(ds, rest)
	if len(ds) == 0 {
		return fault.NothingChanged
	}
	next := *c
	next.drafts, next.reason = ds, cmp.Or(reason, c.reason)
	if next.content() == c.content() {
		return fault.NothingChanged
	}
	next.version++
	next.state, next.approved = desk.Open, ""
	if !slices.Contains(next.authors, by) {
		next.authors = append(slices.Clone(next.authors), by)
	}
	*c = next
	return ""
}

func (m *model) recheck(c *correction) (same bool, kind fault.Kind) {
	if ended(c) {
		return false, fault.CorrectionState
	}
	ds, kind := m.carryAll(c.drafts)
	switch {
	case kind != "":
		return false, kind
	case len(ds) == 0:
		return false, fault.NothingChanged
	}
	before := c.content()
	c.drafts = ds
	if c.content() != before {
		c.state, c.approved = desk.Open, ""
	}
	return c.content() == before, ""
}

// still says whether the content stands on the newest revisions.
func (m *model) still(c *correction) fault.Kind {
	ds, kind := m.carryAll(c.drafts)
	if kind != "" {
		return kind
	}
	next := *c
	next.drafts = ds
	if next.content() != c.content() {
		return fault.RecheckRequired
	}
	c.drafts = ds
	return ""
}

func (m *model) decide(c *correction, by string, current, approve bool) fault.Kind {
	switch {
	case ended(c), approve && c.state != desk.Open:
		return fault.CorrectionState
	case slices.Contains(c.authors, by):
		return fault.SelfReview
	case !current:
		return fault.CorrectionMoved
	}
	if approve {
		if kind := m.still(c); kind != "" {
			return kind
		}
		c.state, c.approved = desk.Approved, by
	} else {
		c.state = desk.Rejected
	}
	c.version++
	return ""
}

func (m *model) withdraw(c *correction, by string, version int64) fault.Kind {
	switch {
	case ended(c):
		return fault.CorrectionState
	case version != c.version:
		return fault.EtagMismatch
	case !slices.Contains(c.authors, by):
		return fault.NotAuthor
	}
	c.state, c.version = desk.Withdrawn, c.version+1
	return ""
}

func (m *model) publish(i int, version int64) fault.Kind {
	c := m.corrections[i]
	switch {
	case c.state != desk.Approved:
		return fault.CorrectionState
	case version != c.version:
		return fault.EtagMismatch
	}
	if kind := m.still(c); kind != "" {
		return kind
	}
	for n, d := range c.drafts {
		now, _ := m.newest(n)
		r := revision{d.fields, d.withdraw, i}
		if d.withdraw {
			r.fields = now.fields
		}
		m.records[n] = append(m.records[n], r)
	}
	c.state, c.version = desk.Published, c.version+1
	return ""
}

func sourceDoc(n specdata.Name, f fields) []byte {
	text := fmt.Sprintf(`{"kind":"source","id":%q,"title":%q,"issuer":"Quill Works","date":"2026-09-01","type":"bulletin","licence":"numbers may be quoted","note":%q,"edition":%q}`, n.ID(), "Sheets "+n.ID(), f.note, f.edition)
	b, err := document.Canonicalize([]byte(text))
	if err != nil {
		panic(err)
	}
	return b
}

// Whatever two desks on one store are asked for, in whatever order, they do and
// refuse what the model does and refuses; and what is published is what another
// person approved, word for word. Every run has records of its own.
func TestDeskAgainstModel(t *testing.T) {
	w := &world{TB: t, file: filepath.Join(t.TempDir(), "desk.db"), clock: &atomic.Int64{}}
	w.clock.Store(time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC).Unix())
	w.open()
	t.Cleanup(func() { w.store.Close() })
	desks := []*desk.Desk{w.desk, w.another()}
	runs := 0
	rapid.Check(t, func(rt *rapid.T) {
		runs++
		m := &model{records: map[specdata.Name][]revision{}}
		var names []specdata.Name
		first := store.Publication{Authors: []string{"demo"}, Reviewer: "demo", Reason: because, Time: w.now()}
		for _, x := range []string{"a", "b"} {
			n := specdata.Name(fmt.Sprintf("sources/%s-%d", x, runs))
			names = append(names, n)
			m.records[n] = []revision{{fields{"note0", "edition0"}, false, -1}}
			first.Changes = append(first.Changes, store.Change{Name: n, Document: sourceDoc(n, fields{"note0", "edition0"})})
		}
		start, err := w.store.Publish(t.Context(), first)
		if err != nil {
			rt.Fatal(err)
		}
		for range rapid.IntRange(5, 25).Draw(rt, "steps") {
			modelStep(rt, w, m, desks[rapid.IntRange(0, 1).Draw(rt, "desk")], names)
		}
		checkEnd(rt, w, m, start)
	})
	if err := w.store.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

func changesOf(es []edit) (out []desk.Change) {
	for _, e := range es {
		out = append(out, e.change())
	}
	return out
}

func drawEdits(rt *rapid.T, m *model, names []specdata.Name) []edit {
	var out []edit
	for _, n := range rapid.Permutation(names).Draw(rt, "names")[:rapid.IntRange(1, 2).Draw(rt, "records")] {
		_, number := m.newest(n)
		e := edit{name: n, base: number}
		if rapid.IntRange(0, 2).Draw(rt, "stale") == 0 {
			e.base = rapid.IntRange(1, number).Draw(rt, "base")
		}
		switch rapid.IntRange(0, 4).Draw(rt, "what") {
		case 0:
			e.withdraw = true
		case 1, 2:
			e.field = "note"
		default:
			e.field = "edition"
		}
		e.value = e.field + rapid.SampledFrom([]string{"0", "1", "2"}).Draw(rt, "value")
		out = append(out, e)
	}
	return out
}

func modelStep(rt *rapid.T, w *world, m *model, d *desk.Desk, names []specdata.Name) {
	ctx := w.Context()
	by := desk.Actor{Name: rapid.SampledFrom([]string{"ann", "bob", "cat"}).Draw(rt, "by")}
	act := rapid.SampledFrom([]string{"propose", "propose", "amend", "recheck", "approve", "reject", "withdraw", "publish", "through", "through", "through"}).Draw(rt, "act")
	if len(m.corrections) == 0 {
		act = "propose"
	}
	var edits []edit
	if act == "propose" || act == "amend" {
		edits = drawEdits(rt, m, names)
	}
	if act == "propose" {
		got, err := d.Propose(ctx, by, proposal(changesOf(edits)...), false)
		c, kind := m.propose(by.Name, edits)
		if agree(rt, act, kind, got, err) {
			c.id = got.ID
			m.corrections = append(m.corrections, c)
			follow(rt, c, got)
		}
		return
	}
	i := len(m.corrections) - 1
	if rapid.Bool().Draw(rt, "earlier") {
		i = rapid.IntRange(0, i).Draw(rt, "correction")
	}
	c := m.corrections[i]
	version, content := c.version, c.contents[len(c.contents)-1]
	if rapid.IntRange(0, 5).Draw(rt, "old") == 0 {
		version = rapid.Int64Range(1, c.version).Draw(rt, "version")
		content = rapid.SampledFrom(c.contents).Draw(rt, "content")
	}
	reason := ""
	if act == "amend" && rapid.Bool().Draw(rt, "reason") {
		reason = because + rapid.SampledFrom([]string{" by day", " by night"}).Draw(rt, "when")
	}
	if act != "through" {
		m.act(rt, w, d, act, by, i, version, content, edits, reason)
		return
	}
	for _, other := range []string{"ann", "bob", "cat"} {
		if by.Name = other; !slices.Contains(c.authors, other) {
			break
		}
	}
	m.act(rt, w, d, "approve", by, i, version, content, nil, "")
	m.act(rt, w, d, "publish", by, i, c.version, content, nil, "")
}

// act does one thing to the i-th correction, on the desk and on the model.
func (m *model) act(rt *rapid.T, w *world, d *desk.Desk, act string, by desk.Actor, i int, version int64, content string, edits []edit, reason string) {
	ctx := w.Context()
	c := m.corrections[i]
	seen := content == c.contents[len(c.contents)-1]
	var got *desk.Correction
	var err error
	var kind fault.Kind
	switch act {
	case "amend":
		got, err = d.Amend(ctx, by, c.id, version, desk.Proposal{Changes: changesOf(edits), Reason: reason})
		kind = m.amend(c, by.Name, version, edits, reason)
	case "recheck":
		got, err = d.Recheck(ctx, by, c.id, "")
		var same bool
		same, kind = m.recheck(c)
		// Whether findings moved is the checks' affair: with the content the same, a
		// version more or none is right.
		if got != nil && (!same || got.Version == c.version+1) {
			c.version++
		}
	case "approve":
		got, err = d.Approve(ctx, by, c.id, content, "", "")
		kind = m.decide(c, by.Name, seen, true)
	case "reject":
		got, err = d.Reject(ctx, by, c.id, content, "not this way, please", "")
		kind = m.decide(c, by.Name, seen, false)
	case "withdraw":
		got, err = d.Withdraw(ctx, by, c.id, version, "", "")
		kind = m.withdraw(c, by.Name, version)
	case "publish":
		got, err = d.Publish(ctx, by, c.id, version, "")
		kind = m.publish(i, version)
	}
	if !agree(rt, act, kind, got, err) {
		if got, err = d.Get(ctx, c.id); err != nil {
			rt.Fatal(err)
		}
	}
	follow(rt, c, got)
}

// agree reports whether both did it; that one did and the other did not is the end.
func agree(rt *rapid.T, act string, want fault.Kind, got *desk.Correction, err error) bool {
	var e *fault.Error
	if err != nil && !errors.As(err, &e) {
		rt.Fatalf("%s: %v", act, err)
	}
	switch {
	case err == nil && want != "":
		rt.Fatalf("%s: done, the model refuses with %s", act, want)
	case err != nil && (e.Kind != want || got != nil):
		rt.Fatalf("%s: refused with %s, the model says %q", act, tell(err), want)
	}
	return err == nil
}

// follow compares a correction with the model's and notes how its content is hashed.
func follow(rt *rapid.T, c *correction, got *desk.Correction) {
	ds := map[specdata.Name]draft{}
	for _, d := range got.Drafts {
		x := draft{base: int(d.Base), withdraw: d.Document == nil}
		if d.Document != nil {
			doc, err := document.ReadCanonical(d.Document)
			if err != nil {
				rt.Fatal(err)
			}
			s := doc.Record.(*specdata.Source)
			x.fields = fields{s.Note, s.Edition}
		}
		ds[d.Name] = x
	}
	if !maps.Equal(ds, c.drafts) || got.State != c.state || got.Version != c.version || !slices.Equal(got.Authors, c.authors) || got.Reason != c.reason || (got.Reach != nil) != (c.state == desk.Published) {
		rt.Fatalf("desk has %+v, %s, version %d, by %v\nmodel has %+v, %s, version %d, by %v", ds, got.State, got.Version, got.Authors, c.drafts, c.state, c.version, c.authors)
	}
	if len(c.contents) == 0 || c.contents[len(c.contents)-1] != got.Content {
		c.contents = append(c.contents, got.Content)
	}
}

func checkEnd(rt *rapid.T, w *world, m *model, start int64) {
	ctx := w.Context()
	published := 0
	for _, c := range m.corrections {
		if c.state == desk.Published {
			published++
		}
	}
	if head := w.head(); head != start+int64(published) {
		rt.Fatalf("head is %d with %d corrections published", head, published)
	}
	for n, rs := range m.records {
		for i, want := range rs {
			got, err := w.store.GetRevision(ctx, n, int64(i+1))
			if err != nil {
				rt.Fatal(err)
			}
			sum := sha256.Sum256(got.Document)
			if got.Withdrawn != want.withdrawn || string(got.Document) != string(sourceDoc(n, want.fields)) || got.Hash != hex.EncodeToString(sum[:]) {
				rt.Fatalf("%s revision %d is %s, withdrawn %t; model has %+v", n, i+1, got.Document, got.Withdrawn, want)
			}
			if want.by < 0 {
				continue
			}
			approvedByAnother(rt, w, got, m.corrections[want.by])
		}
		if _, err := w.store.GetRevision(ctx, n, int64(len(rs)+1)); !errors.Is(err, store.ErrNotFound) {
			rt.Fatalf("%s has more than %d revisions: %v", n, len(rs), err)
		}
	}
}

// approvedByAnother: no revision without the approval of exactly its content by
// somebody who wrote no part of it.
func approvedByAnother(rt *rapid.T, w *world, r *store.Revision, c *correction) {
	got, err := w.desk.Get(w.Context(), c.id)
	if err != nil {
		rt.Fatal(err)
	}
	last := got.Decisions[len(got.Decisions)-1]
	if r.Key != "correction/"+got.ID || r.Position != got.Position || !slices.Equal(r.Authors, got.Authors) || r.Reason != got.Reason {
		rt.Fatalf("%s revision %d says %s, %v; correction %+v", r.Name, r.Number, r.Key, r.Authors, got)
	}
	if !last.Approved || last.Content != got.Content || last.By != r.Reviewer || slices.Contains(got.Authors, last.By) || last.By != c.approved {
		rt.Fatalf("%s revision %d was approved by %+v, reviewer %s, authors %v, content %s", r.Name, r.Number, last, r.Reviewer, got.Authors, got.Content)
	}
	i := slices.IndexFunc(got.Drafts, func(d desk.Draft) bool { return d.Name == r.Name })
	if d := got.Drafts[i]; d.Document != nil && (d.Hash != r.Hash || r.Withdrawn) || d.Document == nil && !r.Withdrawn {
		rt.Fatalf("%s revision %d is %s, approved was %s", r.Name, r.Number, r.Document, d.Document)
	}
}
