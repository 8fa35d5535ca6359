package desk_test

import (
	"slices"
	"strings"
	"testing"

	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/document"
)

func rulesOf(fs []specdata.Finding, of specdata.Name) []string {
	var out []string
	for _, f := range fs {
		if f.Record == of && !slices.Contains(out, f.Rule) {
			out = append(out, f.Rule)
		}
	}
	return out
}

// An error that the change brings forbids approval and publishing, until it is
// mended or waived in the record.
func TestFindingsBlock(t *testing.T) {
	w := newWorld(t)
	c := w.propose(maud, torque(wheelNut, 1, 400, 295)) // an M12 of class 10.9 yields far below
	if !slices.Contains(rulesOf(c.Findings.New, wheelNut), "torque-over-yield") || c.Findings.Blocking == 0 || c.Findings.New[0].Severity != specdata.Error {
		t.Fatalf("findings %s", encode(c.Findings))
	}
	before := w.stored()
	got, err := w.desk.Approve(t.Context(), rhea, c.ID, c.Content, "", "")
	e := w.refused(fault.FindingsBlock, got, err)
	if !slices.ContainsFunc(e.Violations, func(v fault.Violation) bool {
		return v.Field == "/tightening/stages/0/torque" && strings.Contains(v.Description, "torque-over-yield")
	}) || w.stored() != before {
		t.Errorf("violations %v", e.Violations)
	}

	// Waivers are data of the record, written by the author and reviewed with it.
	var waivers []string
	for _, f := range c.Findings.New {
		if f.Severity == specdata.Error && f.Record == wheelNut {
			waivers = append(waivers, `{"rule":"`+f.Rule+`","at":"`+f.Pointer+`","value":"`+f.Value+`","reason":"tried on the rig with this very bolt","until":"2026-12-24","by":"maud"}`)
		}
	}
	change := torque(wheelNut, 1, 400, 295)
	change.MergePatch = strings.TrimSuffix(change.MergePatch, "}") + `,"waivers":[` + strings.Join(waivers, ",") + `]}`
	waived := w.ok(w.desk.Amend(t.Context(), maud, c.ID, c.Version, desk.Proposal{Changes: []desk.Change{change}}))
	if waived.Findings.Blocking >= c.Findings.Blocking {
		t.Errorf("%d block, %d did without waivers", waived.Findings.Blocking, c.Findings.Blocking)
	}
	for _, f := range waived.Findings.New {
		if f.Record == wheelNut && f.Severity == specdata.Error && f.Waived == "" {
			t.Errorf("not waived: %s at %s: %s", f.Rule, f.Pointer, f.Message)
		}
	}

	mended := w.ok(w.desk.Amend(t.Context(), maud, c.ID, waived.Version, desk.Proposal{Changes: []desk.Change{torque(wheelNut, 1, 112, 83)}}))
	if mended.Findings.Blocking != 0 {
		t.Fatalf("still blocking: %s", encode(mended.Findings.New))
	}
	w.approve(rhea, mended)
}

// New, mended and unchanged are told apart, also for records that only feel the change.
func TestFindingsAreCompared(t *testing.T) {
	w := newWorld(t)
	// What a withdrawn fastener leaves dangling is a finding of those who use it.
	c := w.propose(maud, desk.Change{Name: hubNut, Base: 1, Withdraw: true})
	var dangling []specdata.Name
	for _, f := range c.Findings.New {
		if f.Severity == specdata.Error {
			dangling = append(dangling, f.Record)
		}
	}
	if !slices.Contains(dangling, "assemblies/quill-1-rear-hub-disc") || !slices.Contains(dangling, "procedures/quill-1-rear-hub-bearing") || c.Findings.Blocking != len(dangling) {
		t.Errorf("dangling in %v, %d block", dangling, c.Findings.Blocking)
	}
	for _, f := range slices.Concat(c.Findings.New, c.Findings.Unchanged) {
		if f.Record == hubNut {
			t.Errorf("a finding of what is withdrawn: %+v", f)
		}
	}

	// Bring a warning in, see it unchanged beside another change, then mend it.
	w.through(patch(seatBolt, 1, `{"source":{"checked_by":null}}`))
	beside := w.propose(maud, note(seatBolt, 2, "Seat belts are on it."))
	mend := w.propose(maud, patch(seatBolt, 2, `{"source":{"checked_by":"s.halloway"}}`))
	unchanged := rulesOf(beside.Findings.Unchanged, seatBolt)
	mended := rulesOf(mend.Findings.Mended, seatBolt)
	if len(mended) == 0 || len(rulesOf(mend.Findings.New, seatBolt)) > 0 {
		t.Fatalf("mended %v, new %v", mended, rulesOf(mend.Findings.New, seatBolt))
	}
	for _, r := range mended {
		if !slices.Contains(unchanged, r) || slices.Contains(rulesOf(beside.Findings.New, seatBolt), r) {
			t.Errorf("%s is not among the unchanged %v of another change", r, unchanged)
		}
	}
}

// An error that stood before blocks anyone who touches the record, and nobody else.
func TestOldErrorsBlockTheRecordTheyAreOf(t *testing.T) {
	w := newWorld(t)
	wrong, err := desk.MergePatch(w.record(wheelNut).Document, []byte(torque(wheelNut, 1, 400, 295).MergePatch))
	if err != nil {
		t.Fatal(err)
	}
	if wrong, err = document.Canonicalize(wrong); err != nil {
		t.Fatal(err)
	}
	// As an import without checks would have left it.
	_, err = w.store.Publish(t.Context(), store.Publication{
		Changes: []store.Change{{Name: wheelNut, Base: 1, Document: wrong}}, Authors: []string{"demo"}, Reviewer: "demo", Reason: because, Time: w.now(),
	})
	if err != nil {
		t.Fatal(err)
	}
	c := w.propose(maud, note(wheelNut, 2, "Clean the seat."))
	if !slices.Contains(rulesOf(c.Findings.Unchanged, wheelNut), "torque-over-yield") || c.Findings.Blocking == 0 {
		t.Errorf("touching the record: %s", encode(c.Findings))
	}
	c = w.propose(maud, note(seatBolt, 1, "Seat belts are on it."))
	if !slices.Contains(rulesOf(c.Findings.Unchanged, wheelNut), "torque-over-yield") || c.Findings.Blocking != 0 {
		t.Errorf("touching another: %s", encode(c.Findings))
	}
	w.publish(rhea, w.approve(rhea, c))
	c = w.propose(maud, torque(wheelNut, 2, 112, 83))
	if !slices.Contains(rulesOf(c.Findings.Mended, wheelNut), "torque-over-yield") || c.Findings.Blocking != 0 {
		t.Errorf("mending it: %s", encode(c.Findings))
	}
}

// A publication that takes the ground from an approved correction of another record
// is seen at the moment of publishing.
func TestFindingsAtTheMomentOfPublishing(t *testing.T) {
	w := newWorld(t)
	text := "kind: source\nid: quill-bulletin-2026-10\ntitle: Bulletin on the wheel nut\nissuer: Quill Works\ndate: 2026-09-01\ntype: bulletin\nlicence: numbers may be quoted\n"
	const bulletin = specdata.Name("sources/quill-bulletin-2026-10")
	w.through(desk.Change{Name: bulletin, Document: text})
	c := w.approve(rhea, w.propose(maud, patch(unused, 1, `{"source":{"document":"quill-bulletin-2026-10"}}`)))
	w.through(desk.Change{Name: bulletin, Base: 1, Withdraw: true})
	before := w.stored()
	got, err := w.desk.Publish(t.Context(), rhea, c.ID, c.Version, "")
	e := w.refused(fault.FindingsBlock, got, err)
	if w.stored() != before || !slices.ContainsFunc(e.Violations, func(v fault.Violation) bool { return strings.Contains(v.Description, "unresolved-reference") }) {
		t.Errorf("violations %v", e.Violations)
	}
	if c = w.ok(w.desk.Recheck(t.Context(), maud, c.ID, "")); c.State != desk.Open || c.Findings.Blocking == 0 {
		t.Errorf("rechecked it is %s with %d blocking", c.State, c.Findings.Blocking)
	}
}

// A waiver is given by the person whose token approves it: nobody accepts a finding in the
// name of another, and one that is in force already may be carried along by anybody.
func TestWaiverOfAnother(t *testing.T) {
	w := newWorld(t)
	plain := w.propose(maud, patch(unused, 1, `{"note":"Tighten to 20 N·m."}`))
	at := slices.IndexFunc(plain.Findings.New, func(f specdata.Finding) bool { return f.Record == unused && f.Rule == "value-in-prose" })
	if at < 0 {
		t.Fatalf("findings %s", encode(plain.Findings))
	}
	f := plain.Findings.New[at]
	waiver := func(by, until string) string {
		return encode([]specdata.Waiver{{Rule: f.Rule, At: f.Pointer, Value: f.Value, Reason: "the maker words it so in its own sheet", Until: specdata.Date(until), By: by}})
	}
	c := w.propose(maud, patch(unused, 1, `{"note":"Tighten to 20 N·m.","waivers":`+waiver("ravi", "2026-12-24")+`}`))
	before := w.stored()
	got, err := w.desk.Approve(t.Context(), rhea, c.ID, c.Content, "", "")
	if e := w.refused(fault.WaiverOfAnother, got, err); !strings.Contains(e.Message, "is by ravi; only ravi can approve it, not rhea") || w.stored() != before {
		t.Errorf("refused with %q", e.Message)
	}
	w.publish(ravi, w.approve(ravi, c))
	w.publish(rhea, w.approve(rhea, w.propose(maud, patch(unused, 2, `{"title":"Knock sensor screw"}`))))
	c = w.propose(maud, patch(unused, 3, `{"waivers":`+waiver("ravi", "2026-12-28")+`}`))
	got, err = w.desk.Approve(t.Context(), rhea, c.ID, c.Content, "", "")
	w.refused(fault.WaiverOfAnother, got, err)
}
