package desk_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/specdata"
)

func TestPropose(t *testing.T) {
	w := newWorld(t)
	base := w.record(wheelNut)
	for name, c := range map[string]desk.Change{
		"merge patch":       note(wheelNut, 1, "Clean the seat."),
		"JSON patch":        {Name: wheelNut, Base: 1, JSONPatch: `[{"op":"test","path":"/count","value":4},{"op":"add","path":"/note","value":"Clean the seat."}]`},
		"document":          {Name: wheelNut, Base: 1, Document: strings.Replace(string(base.Document), `{`, `{"note":"Clean the seat.",`, 1)},
		"base by its hash":  {Name: wheelNut, BaseHash: base.Hash, MergePatch: `{"note":"Clean the seat."}`},
		"base in both ways": {Name: wheelNut, Base: 1, BaseHash: base.Hash, MergePatch: `{"note":"Clean the seat."}`},
	} {
		t.Run(name, func(t *testing.T) {
			c := w.ok(w.desk.Propose(t.Context(), maud, proposal(c), false))
			if len(c.Drafts) != 1 || c.State != desk.Open || c.Version != 1 || !slices.Equal(c.Authors, []string{"maud"}) || c.CheckedAt != 1 || c.ID == "" {
				t.Fatalf("got %+v", c)
			}
			d := c.Drafts[0]
			if d.Base != 1 || encode(d.Fields) != `[{"pointer":"/note","new":"Clean the seat."}]` {
				t.Errorf("draft on %d with %s", d.Base, encode(d.Fields))
			}
			if got := w.ok(w.desk.Get(t.Context(), c.ID)); encode(got) != encode(c) || got.Version != c.Version {
				t.Errorf("kept is\n%s\ngiven was\n%s", encode(got), encode(c))
			}
		})
	}
}

// A new record, and one in YAML, have no base.
func TestProposeNewRecord(t *testing.T) {
	w := newWorld(t)
	text := "kind: source\nid: quill-bulletin-2026-10\ntitle: Bulletin on the wheel nut\nissuer: Quill Works\ndate: 2026-10-01\ntype: bulletin\nlicence: numbers may be quoted\n"
	c := w.propose(maud, desk.Change{Name: "sources/quill-bulletin-2026-10", Document: text})
	if d := c.Drafts[0]; d.Base != 0 || d.Fields != nil || c.Findings.Blocking != 0 {
		t.Fatalf("got %+v, %+v", d, c.Findings)
	}
	c = w.publish(rhea, w.approve(rhea, c))
	if r := w.record("sources/quill-bulletin-2026-10"); r.Number != 1 || r.Hash != c.Drafts[0].Hash || len(c.Reach.Records) != 0 {
		t.Errorf("published %+v, reach %+v", r, c.Reach)
	}
}

func TestValidateOnlyKeepsNothing(t *testing.T) {
	w := newWorld(t)
	before := w.stored()
	p := proposal(torque(wheelNut, 1, 400, 295))
	p.RequestID = "once"
	c := w.ok(w.desk.Propose(t.Context(), maud, p, true))
	if c.ID != "" || c.Findings.Blocking == 0 || c.Content == "" {
		t.Errorf("got %+v", c)
	}
	if w.stored() != before {
		t.Error("something was kept")
	}
}

// Whatever is wrong is told with its kind, the record and the place, and nothing is kept.
func TestProposeRefusals(t *testing.T) {
	w := newWorld(t)
	w.through(note(seatBolt, 1, "First note."))                   // seat bolt is at revision 2
	w.through(desk.Change{Name: unused, Base: 1, Withdraw: true}) // and this one is gone
	doc := string(w.record(wheelNut).Document)
	var doubling []string
	for i := range 40 {
		doubling = append(doubling, fmt.Sprintf(`{"op":"copy","from":"/tightening","path":"/tightening/c%d"}`, i))
	}
	bomb := "[" + strings.Join(doubling, ",") + "]"
	many := make([]desk.Change, desk.MaxRecords+1)
	for i := range many {
		many[i] = note(specdata.Name(fmt.Sprintf("fasteners/f-%d", i)), 1, "x")
	}
	of := func(c desk.Change) desk.Proposal { return proposal(c) }
	cases := []struct {
		name string
		p    desk.Proposal
		kind fault.Kind
		// at is a pointer or field among the violations, says a part of the message.
		at, says string
	}{
		{"no base", of(note(wheelNut, 0, "x")), fault.BaseRequired, "", "at revision 1"},
		{"a base to come", of(note(wheelNut, 2, "x")), fault.InvalidArgument, "changes[0].base", "no revision 2; the newest is 1"},
		{"a negative base", of(note(wheelNut, -1, "x")), fault.InvalidArgument, "changes[0].base", "no revision -1"},
		{"a hash of nothing", of(desk.Change{Name: wheelNut, BaseHash: "00", MergePatch: `{"note":"x"}`}), fault.InvalidArgument, "changes[0].base_hash", "hash 00"},
		{"base and hash disagree", of(desk.Change{Name: seatBolt, Base: 1, BaseHash: w.record(seatBolt).Hash, MergePatch: `{"note":"x"}`}), fault.InvalidArgument, "changes[0].base_hash", "give one"},
		{"unknown record", of(note("fasteners/nothing", 1, "x")), fault.RecordNotFound, "", "does not exist"},
		{"patch of a record to come", of(note("fasteners/nothing", 0, "x")), fault.RecordNotFound, "", "whole document"},
		{"withdrawal of nothing", of(desk.Change{Name: "fasteners/nothing", Withdraw: true}), fault.RecordNotFound, "", ""},
		{"withdrawn record", of(note(unused, 1, "x")), fault.RecordWithdrawn, "", "at revision 2"},
		{"withdrawn record, no base", of(note(unused, 0, "x")), fault.RecordWithdrawn, "", "at revision 2"},
		{"withdrawn twice", of(desk.Change{Name: unused, Base: 2, Withdraw: true}), fault.RecordWithdrawn, "", ""},
		{"no name", of(desk.Change{Name: "bolts/x", Base: 1, MergePatch: "{}"}), fault.InvalidArgument, "changes[0].record", "names no collection"},
		{"one record twice", proposal(note(wheelNut, 1, "x"), note(wheelNut, 1, "y")), fault.InvalidArgument, "changes[1].record", "twice"},
		{"no change", proposal(), fault.InvalidArgument, "changes", ""},
		{"too many records", proposal(many...), fault.InvalidArgument, "changes", "101 records"},
		{"no form", of(desk.Change{Name: wheelNut, Base: 1}), fault.InvalidArgument, "changes[0]", "0 ways"},
		{"two forms", of(desk.Change{Name: wheelNut, Base: 1, MergePatch: "{}", Withdraw: true}), fault.InvalidArgument, "changes[0]", "2 ways"},
		{"dropped at once", of(desk.Change{Name: wheelNut, Base: 1, Drop: true}), fault.InvalidArgument, "changes[0]", "0 ways"},
		{"nothing changed", of(patch(wheelNut, 1, `{"count":4}`)), fault.NothingChanged, "", "revision 1 says"},
		{"published already", of(note(seatBolt, 1, "First note.")), fault.NothingChanged, "", "published already"},
		{"patch that is no JSON", of(patch(wheelNut, 1, `{"count":`)), fault.PatchFailed, "", "ends where a value"},
		{"a key twice", of(patch(wheelNut, 1, `{"count":4,"count":5}`)), fault.PatchFailed, "", "count"},
		{"a list for an object", of(patch(wheelNut, 1, `[]`)), fault.PatchFailed, "", "not a JSON object"},
		{"a number that takes minutes", of(patch(wheelNut, 1, `{"count":1e1000001}`)), fault.PatchFailed, "", "exponent"},
		{"test that fails", of(desk.Change{Name: wheelNut, Base: 1, JSONPatch: `[{"op":"replace","path":"/count","value":5},{"op":"test","path":"/place","value":"hub"},{"op":"remove","path":"/note"}]`}), fault.PatchFailed, "/place", "operation 1 (test /place)"},
		{"removal of nothing", of(desk.Change{Name: wheelNut, Base: 1, JSONPatch: `[{"op":"remove","path":"/note"}]`}), fault.PatchFailed, "/note", "nothing at that place"},
		{"unknown operation", of(desk.Change{Name: wheelNut, Base: 1, JSONPatch: `[{"op":"grow","path":"/note"}]`}), fault.PatchFailed, "", ""},
		{"copy bomb", of(desk.Change{Name: wheelNut, Base: 1, JSONPatch: bomb}), fault.PatchFailed, "", "copies come to more"},
		{"oversized patch", of(patch(wheelNut, 1, `{"note":"`+strings.Repeat("x", 2<<20)+`"}`)), fault.LimitSize, "", "bytes"},
		{"note beyond a string", of(patch(wheelNut, 1, `{"note":"`+strings.Repeat("x", 70<<10)+`"}`)), fault.PatchFailed, "", ""},
		{"not of its schema", of(patch(wheelNut, 1, `{"joint":"glued","tightening":{"state":"flying"}}`)), fault.DocumentUnreadable, "/tightening/state", ""},
		{"a unit that does not exist", of(patch(wheelNut, 1, `{"tightening":{"stages":[{"torque":"110 ft/lb"}]}}`)), fault.DocumentUnreadable, "/tightening/stages/0/torque", ""},
		{"no unit", of(patch(wheelNut, 1, `{"tightening":{"stages":[{"torque":"110"}]}}`)), fault.DocumentUnreadable, "/tightening/stages/0/torque", "never guessed"},
		{"another id", of(patch(wheelNut, 1, `{"id":"quill-1-wheel-bolt"}`)), fault.DocumentUnreadable, "/id", "keeps its name"},
		{"another kind", of(desk.Change{Name: wheelNut, Base: 1, Document: "kind: source\nid: quill-1-wheel-nut\ntitle: Bulletin\nissuer: Quill Works\ndate: 2026-10-01\ntype: bulletin\nlicence: numbers may be quoted\n"}), fault.DocumentUnreadable, "/kind", "keeps its name"},
		{"no document at all", of(desk.Change{Name: wheelNut, Base: 1, Document: "\x00"}), fault.DocumentUnreadable, "", "NUL"},
		{"reason too short", desk.Proposal{Changes: []desk.Change{note(wheelNut, 1, "x")}, Reason: " short  "}, fault.InvalidArgument, "reason", "5 characters"},
		{"reason too long", desk.Proposal{Changes: []desk.Change{note(wheelNut, 1, "x")}, Reason: strings.Repeat("long ", 500)}, fault.InvalidArgument, "reason", "allowed: 2000"},
		{"reason with control characters", desk.Proposal{Changes: []desk.Change{note(wheelNut, 1, "x")}, Reason: because + "\x1b[2J"}, fault.InvalidArgument, "reason", "cannot be seen"},
		{"a reason that reads backwards", desk.Proposal{Changes: []desk.Change{note(wheelNut, 1, "x")}, Reason: because + "\u202e"}, fault.InvalidArgument, "reason", "direction mark"},
		{"evidence with a line separator", desk.Proposal{Changes: []desk.Change{note(wheelNut, 1, "x")}, Reason: because, Evidence: []string{"a\u2028b"}}, fault.InvalidArgument, "evidence[0]", "line separator"},
		{"too much evidence", desk.Proposal{Changes: []desk.Change{note(wheelNut, 1, "x")}, Reason: because, Evidence: slices.Repeat([]string{"x"}, 21)}, fault.InvalidArgument, "evidence", "21 pieces"},
		{"empty evidence", desk.Proposal{Changes: []desk.Change{note(wheelNut, 1, "x")}, Reason: because, Evidence: []string{"a", ""}}, fault.InvalidArgument, "evidence[1]", ""},
		{"a request id with spaces", desk.Proposal{Changes: []desk.Change{note(wheelNut, 1, "x")}, Reason: because, RequestID: "a b"}, fault.InvalidArgument, "request_id", "UUID"},
		{"the good change beside the bad one", proposal(note(hubNut, 1, "x"), desk.Change{Name: wheelNut, Base: 1, Document: doc[:len(doc)-1]}), fault.DocumentUnreadable, "", ""},
	}
	before := w.stored()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, err := w.desk.Propose(t.Context(), maud, c.p, false)
			e := w.refused(c.kind, got, err)
			if !strings.Contains(e.Message, c.says) {
				t.Errorf("says %q, want %q in it", e.Message, c.says)
			}
			if c.at != "" && !slices.ContainsFunc(e.Violations, func(v fault.Violation) bool { return v.Field == c.at }) {
				t.Errorf("violations %v, want one at %s", e.Violations, c.at)
			}
			if w.stored() != before {
				t.Error("something was kept")
			}
		})
	}
	got, err := w.desk.Propose(t.Context(), desk.Actor{}, proposal(note(wheelNut, 1, "x")), false)
	w.refused(fault.InvalidArgument, got, err)
}

// A change made against an older revision goes onto the newest where it touches
// other fields, and shows both sides where it does not.
func TestStaleBases(t *testing.T) {
	w := newWorld(t)
	w.through(patch(wheelNut, 1, `{"note":"Clean the seat.","fitting":{"washers":"none"}}`))
	c := w.propose(orri, torque(wheelNut, 1, 112, 83))
	d := c.Drafts[0]
	if d.Base != 2 || !strings.Contains(string(d.Document), "Clean the seat.") || !strings.Contains(string(d.Document), "112 N.m") {
		t.Fatalf("merged onto %d: %s", d.Base, d.Document)
	}
	var at []string
	for _, f := range d.Fields {
		at = append(at, f.Pointer)
	}
	if want := []string{"/source/quote", "/tightening/stages/0/also", "/tightening/stages/0/torque"}; !slices.Equal(at, want) {
		t.Errorf("differs from the newest revision at %v, want %v", at, want)
	}

	got, err := w.desk.Propose(t.Context(), orri, proposal(patch(wheelNut, 1, `{"note":"Oil the seat.","count":5}`)), false)
	e := w.refused(fault.FieldsClash, got, err)
	want := fault.Clash{Record: string(wheelNut), Pointer: "/note", Current: `"Clean the seat."`, Proposed: `"Oil the seat."`}
	if len(e.Clashes) != 1 || e.Clashes[0] != want {
		t.Errorf("clashes %+v, want %+v", e.Clashes, want)
	}

	// Withdrawing what has changed since is a clash of the whole record.
	got, err = w.desk.Propose(t.Context(), orri, proposal(desk.Change{Name: wheelNut, Base: 1, Withdraw: true}), false)
	if e := w.refused(fault.FieldsClash, got, err); e.Clashes[0].Pointer != "" || e.Clashes[0].Proposed != "" {
		t.Errorf("clashes %+v", e.Clashes)
	}

	// Two changes that are fine by themselves may not be together.
	w.through(patch(seatBolt, 1, `{"thread":{"designation":"M10x1.25"}}`))
	if c := w.propose(orri, patch(seatBolt, 1, `{"note":"Fine."}`)); !strings.Contains(string(c.Drafts[0].Document), "M10x1.25") {
		t.Errorf("merged %s", c.Drafts[0].Document)
	}
}

// What was withdrawn comes back on the revision that withdrew it.
func TestRevival(t *testing.T) {
	w := newWorld(t)
	old := w.record(unused)
	w.through(desk.Change{Name: unused, Base: 1, Withdraw: true})
	if r := w.record(unused); !r.Withdrawn || r.Number != 2 {
		t.Fatalf("got %+v", r)
	}
	late := w.propose(orri, patch(unused, 2, `{"note":"Back again."}`))
	c := w.through(desk.Change{Name: unused, Base: 2, Document: string(old.Document)})
	// Two that bring it back differently, and a withdrawal of what is back, clash.
	got, err := w.desk.Recheck(t.Context(), orri, late.ID, "")
	w.refused(fault.FieldsClash, got, err)
	got, err = w.desk.Propose(t.Context(), orri, proposal(desk.Change{Name: unused, Base: 2, Withdraw: true}), false)
	w.refused(fault.FieldsClash, got, err)
	if r := w.record(unused); r.Withdrawn || r.Number != 3 || r.Hash != old.Hash || r.Key != "correction/"+c.ID {
		t.Errorf("got %+v", r)
	}
}
