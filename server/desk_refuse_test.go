package main

import (
	"fmt"
	"slices"
	"strings"
	"syscall"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	pb "proofload/api/proofload/v1"
	"proofload/server/fault"
)

// give has the administrator give a person a token, kept under a name. Where the
// person has one already, it is given out at the console, with the server stopped.
func (d *office) give(t *testing.T, as, person string, roles ...string) {
	t.Helper()
	x := doAt(t, d.running, "POST", "/v1/tokens", fmt.Sprintf(`{"person":%q,"roles":["%s"]}`, person, strings.Join(roles, `","`)), append(d.bearer("admin"), "Content-Type", "application/json")...)
	if x.status == 409 && strings.Contains(string(x.body), "SECOND_ADMIN_REQUIRED") {
		d.tokens[as] = d.console(t, "add", "--name", person, "--role", strings.Join(roles, ","))
		return
	}
	if x.status != 200 {
		t.Fatalf("token for %s: %d %s", person, x.status, x.body)
	}
	d.tokens[as] = x.field(t, "secret")
}

// console stops the server, runs a token command at its console, starts it again, and
// returns the last line of what the command printed.
func (d *office) console(t *testing.T, args ...string) string {
	t.Helper()
	d.running.signals <- syscall.SIGTERM
	d.running.done <- <-d.running.done
	var out strings.Builder
	if err := token(t.Context(), append([]string{args[0], "--store", d.store}, args[1:]...), &out); err != nil {
		t.Fatal(err)
	}
	d.running = start(t, "--store", d.store)
	d.conn = dialed(t, d.running)
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	return lines[len(lines)-1]
}

// What is refused is refused alike on both wires, and nothing of it is kept.
func TestRefusedCorrections(t *testing.T) {
	d := startOffice(t)
	d.give(t, "both", "Maud Ibbot", "editor", "reviewer")
	d.give(t, "shouting", "Sten Aldous", "editor", "reviewer")
	change := func(c *pb.CorrectionChange) *pb.CreateCorrectionRequest {
		if c.Record == "" {
			c.Record = carrier
		}
		if c.BaseRevision == 0 && c.BaseHash == "" {
			c.BaseRevision = 1
		}
		return propose(c)
	}
	good := func() *pb.CreateCorrectionRequest {
		return change(&pb.CorrectionChange{MergePatch: torque(t, "64", "47")})
	}
	// Each copy doubles the document: 40 of them would make a terabyte.
	bomb := []string{`{"op":"add","path":"/note","value":{"a":"` + strings.Repeat("x", 1000) + `"}}`}
	for i := range 40 {
		bomb = append(bomb, fmt.Sprintf(`{"op":"copy","from":"/note","path":"/note/b%d"}`, i))
	}
	deep := structpb.NewStringValue("x")
	for range 200 {
		deep = structpb.NewListValue(&structpb.ListValue{Values: []*structpb.Value{deep}})
	}
	with := func(r *pb.CreateCorrectionRequest, f func(*pb.CreateCorrectionRequest)) *pb.CreateCorrectionRequest {
		f(r)
		return r
	}
	for _, c := range []struct {
		name, role string
		kind       fault.Kind
		says       string
		in         *pb.CreateCorrectionRequest
	}{
		{"nobody", "", fault.TokenMissing, "role editor", good()},
		{"a token of nobody", "plt_" + strings.Repeat("a", 32), fault.TokenInvalid, "not one of this server", good()},
		{"no token at all", "open sesame", fault.TokenInvalid, "", good()},
		{"another role", "reviewer", fault.RoleRequired, "role editor", good()},
		{"admin", "admin", fault.RoleRequired, "role editor", good()},
		{"no changes", "editor", fault.InvalidArgument, "at least one", propose()},
		{"no reason", "editor", fault.InvalidArgument, "reason", with(good(), func(r *pb.CreateCorrectionRequest) { r.Correction.Reason = "" })},
		{"a field of the server's", "editor", fault.InvalidArgument, "correction.state", with(good(), func(r *pb.CreateCorrectionRequest) { r.Correction.State = "approved" })},
		{"another author", "editor", fault.InvalidArgument, "correction.authors", with(good(), func(r *pb.CreateCorrectionRequest) { r.Correction.Authors = []string{"Piet Oram"} })},
		{"no record's name", "editor", fault.InvalidArgument, "Quill", change(&pb.CorrectionChange{Record: "fasteners/Quill 1", Withdraw: true})},
		{"no such record", "editor", fault.RecordNotFound, "does not exist", change(&pb.CorrectionChange{Record: "fasteners/quill-1-none", MergePatch: torque(t, "64", "47")})},
		{"twice the same record", "editor", fault.InvalidArgument, "twice", propose(good().Correction.Changes[0], good().Correction.Changes[0])},
		{"nothing to do", "editor", fault.InvalidArgument, "exactly one", change(&pb.CorrectionChange{})},
		{"two things to do", "editor", fault.InvalidArgument, "exactly one", change(&pb.CorrectionChange{Withdraw: true, MergePatch: torque(t, "64", "47")})},
		{"changes nothing", "editor", fault.NothingChanged, carrier, change(&pb.CorrectionChange{MergePatch: object(t, `{"count":2}`)})},
		{"no base", "editor", fault.BaseRequired, "revision 1", propose(&pb.CorrectionChange{Record: carrier, MergePatch: torque(t, "64", "47")})},
		{"negative base", "editor", fault.InvalidArgument, "negative", change(&pb.CorrectionChange{BaseRevision: -1, Withdraw: true})},
		{"base to come", "editor", fault.InvalidArgument, "no revision 7", change(&pb.CorrectionChange{BaseRevision: 7, Withdraw: true})},
		{"base of another record", "editor", fault.InvalidArgument, "hash", change(&pb.CorrectionChange{BaseHash: strings.Repeat("0", 64), Withdraw: true})},
		{"an unknown field", "editor", fault.DocumentUnreadable, "torq", change(&pb.CorrectionChange{MergePatch: object(t, `{"torq":"64 N.m"}`)})},
		{"a number without unit", "editor", fault.DocumentUnreadable, "", change(&pb.CorrectionChange{MergePatch: object(t, `{"tightening":{"stages":[{"torque":"64"}]}}`)})},
		{"a field that must be there", "editor", fault.DocumentUnreadable, "title", change(&pb.CorrectionChange{MergePatch: object(t, `{"title":null}`)})},
		{"another record's document", "editor", fault.DocumentUnreadable, "names record", change(&pb.CorrectionChange{MergePatch: object(t, `{"id":"quill-1-other"}`)})},
		{"a document that is none", "editor", fault.DocumentUnreadable, "", change(&pb.CorrectionChange{Document: "kind: [fastener"})},
		{"a patch of nowhere", "editor", fault.PatchFailed, "/nowhere", change(&pb.CorrectionChange{JsonPatch: list(t, `[{"op":"remove","path":"/nowhere"}]`)})},
		{"a patch that is none", "editor", fault.PatchFailed, "", change(&pb.CorrectionChange{JsonPatch: list(t, `[{"op":"explode"}]`)})},
		{"a bomb of copies", "editor", fault.PatchFailed, "", change(&pb.CorrectionChange{JsonPatch: list(t, "["+strings.Join(bomb, ",")+"]")})},
		{"a deep patch", "editor", fault.InvalidArgument, "64 levels", change(&pb.CorrectionChange{MergePatch: &structpb.Struct{Fields: map[string]*structpb.Value{"note": deep}}})},
		{"dropped from nothing", "editor", fault.InvalidArgument, "", change(&pb.CorrectionChange{Drop: true})},
		{"a request id with spaces", "editor", fault.InvalidArgument, "request_id", with(good(), func(r *pb.CreateCorrectionRequest) { r.RequestId = "a b" })},
	} {
		t.Run(c.name, func(t *testing.T) {
			d.refuse(t, c.kind, c.says, c.role, "CreateCorrection", c.in)
			only := proto.CloneOf(c.in)
			only.ValidateOnly = true
			d.refuse(t, c.kind, c.says, c.role, "CreateCorrection", only)
		})
	}
	if l := d.ask(t, "", "ListCorrections", &pb.ListCorrectionsRequest{}).message.(*pb.ListCorrectionsResponse); len(l.Corrections) != 0 {
		t.Fatalf("what was refused is kept: %v", l)
	}

	first := good()
	c := d.correction(t, "editor", "CreateCorrection", first)
	reused := proto.CloneOf(first)
	reused.Correction.Reason = "for another reason than before"
	d.refuse(t, fault.RequestIDReused, first.RequestId, "editor", "CreateCorrection", reused)
	id := c.Name
	seen, etag := c.ContentHash, c.Etag
	for _, x := range []struct {
		name, role, method string
		kind               fault.Kind
		says               string
		in                 proto.Message
	}{
		{"no such correction", "", "GetCorrection", fault.CorrectionNotFound, "", &pb.GetCorrectionRequest{Name: "corrections/20200101-000000-000aaaaa"}},
		{"reach of none", "", "GetCorrectionReach", fault.CorrectionNotFound, "", &pb.GetCorrectionReachRequest{Name: "corrections/20200101-000000-000aaaaa/reach"}},
		{"no state", "", "ListCorrections", fault.InvalidArgument, "approved", &pb.ListCorrectionsRequest{State: "done"}},
		{"no record", "", "ListCorrections", fault.InvalidArgument, "", &pb.ListCorrectionsRequest{Record: "bolts/a"}},
		{"negative page", "", "ListCorrections", fault.InvalidArgument, "negative", &pb.ListCorrectionsRequest{PageSize: -1}},
		{"made-up page token", "", "ListCorrections", fault.PageTokenInvalid, "", &pb.ListCorrectionsRequest{PageToken: "AAAA"}},
		{"amend by nobody", "", "AmendCorrection", fault.TokenMissing, "editor", &pb.AmendCorrectionRequest{Name: id, Etag: etag, Reason: "another reason"}},
		{"amend without etag", "editor", "AmendCorrection", fault.EtagRequired, "etag", &pb.AmendCorrectionRequest{Name: id, Reason: "another reason"}},
		{"amend with what is no etag", "editor", "AmendCorrection", fault.InvalidArgument, "quotes", &pb.AmendCorrectionRequest{Name: id, Etag: "1", Reason: "another reason"}},
		{"amend what moved", "editor", "AmendCorrection", fault.CorrectionMoved, "version", &pb.AmendCorrectionRequest{Name: id, Etag: `"7"`, Reason: "another reason"}},
		{"amend nothing", "editor", "AmendCorrection", fault.NothingChanged, "", &pb.AmendCorrectionRequest{Name: id, Etag: etag}},
		{"drop the only record", "editor", "AmendCorrection", fault.NothingChanged, "", &pb.AmendCorrectionRequest{Name: id, Etag: etag, Changes: []*pb.CorrectionChange{{Record: carrier, Drop: true}}}},
		{"approve as editor", "editor", "ApproveCorrection", fault.RoleRequired, "reviewer", &pb.ApproveCorrectionRequest{Name: id, ContentHash: seen}},
		{"approve one's own", "both", "ApproveCorrection", fault.SelfReview, "Maud Ibbot", &pb.ApproveCorrectionRequest{Name: id, ContentHash: seen}},
		{"reject one's own", "both", "RejectCorrection", fault.SelfReview, "Maud Ibbot", &pb.RejectCorrectionRequest{Name: id, ContentHash: seen, Comment: "I changed my mind"}},
		{"approve unseen", "reviewer", "ApproveCorrection", fault.InvalidArgument, "content_hash", &pb.ApproveCorrectionRequest{Name: id}},
		{"approve what moved", "reviewer", "ApproveCorrection", fault.CorrectionMoved, "content", &pb.ApproveCorrectionRequest{Name: id, ContentHash: strings.Repeat("0", 64)}},
		{"reject without a word", "reviewer", "RejectCorrection", fault.InvalidArgument, "comment", &pb.RejectCorrectionRequest{Name: id, ContentHash: seen}},
		{"publish as editor", "editor", "PublishCorrection", fault.RoleRequired, "reviewer", &pb.PublishCorrectionRequest{Name: id, Etag: etag}},
		{"publish unapproved", "reviewer", "PublishCorrection", fault.CorrectionState, "approved", &pb.PublishCorrectionRequest{Name: id, Etag: etag}},
		{"publish without etag", "reviewer", "PublishCorrection", fault.EtagRequired, "etag", &pb.PublishCorrectionRequest{Name: id}},
		{"withdraw another's", "shouting", "WithdrawCorrection", fault.NotAuthor, "Sten Aldous", &pb.WithdrawCorrectionRequest{Name: id, Etag: etag}},
		{"withdraw what moved", "editor", "WithdrawCorrection", fault.CorrectionMoved, "", &pb.WithdrawCorrectionRequest{Name: id, Etag: `"9"`}},
		{"recheck as reader", "admin", "RecheckCorrection", fault.RoleRequired, "editor or reviewer", &pb.RecheckCorrectionRequest{Name: id}},
	} {
		t.Run(x.name, func(t *testing.T) { d.refuse(t, x.kind, x.says, x.role, x.method, x.in) })
	}
	if got := d.correction(t, "", "GetCorrection", &pb.GetCorrectionRequest{Name: id}); !proto.Equal(got, c) {
		t.Errorf("refusals changed the correction to %v", got)
	}

	// What a second author joined in, neither approves; what moved after an approval
	// is approved no more.
	c = d.correction(t, "shouting", "AmendCorrection", &pb.AmendCorrectionRequest{Name: id, Etag: etag, Evidence: []string{"measured on two joints"}, RequestId: request()})
	d.refuse(t, fault.SelfReview, "Sten Aldous", "shouting", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: id, ContentHash: c.ContentHash})
	d.refuse(t, fault.CorrectionMoved, "content", "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: id, ContentHash: seen})
	c = d.correction(t, "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: id, ContentHash: c.ContentHash, RequestId: request()})
	c = d.correction(t, "editor", "AmendCorrection", &pb.AmendCorrectionRequest{Name: id, Etag: c.Etag, Reason: "the sheet was read a third time", RequestId: request()})
	if c.State != "open" {
		t.Errorf("an amended correction is %s", c.State)
	}
	d.refuse(t, fault.CorrectionState, "", "reviewer", "PublishCorrection", &pb.PublishCorrectionRequest{Name: id, Etag: c.Etag})
}

// Two corrections of one record: different fields go together, one field clashes and
// both sides are shown, alike on both wires.
func TestCorrectionsOfOneRecord(t *testing.T) {
	d := startOffice(t)
	make := func(patch *structpb.Struct) *pb.Correction {
		return d.correction(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 1, MergePatch: patch}))
	}
	through := func(c *pb.Correction) *pb.Correction {
		c = d.correction(t, "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: c.Name, ContentHash: c.ContentHash, RequestId: request()})
		return d.correction(t, "reviewer", "PublishCorrection", &pb.PublishCorrectionRequest{Name: c.Name, Etag: c.Etag, RequestId: request()})
	}
	tag := doAt(t, d.running, "GET", "/v1/"+carrier+"/document", "").header.Get("ETag")
	one, two, three := make(torque(t, "64", "47")), make(torque(t, "60", "44")), make(object(t, `{"note":"cleaned first"}`))
	through(one)

	e := d.refuse(t, fault.FieldsClash, "/source/quote", "reviewer", "RecheckCorrection", &pb.RecheckCorrectionRequest{Name: two.Name})
	want := fault.Clash{Record: carrier, Pointer: "/source/quote", Base: `"62 N.m (46 lbf.ft)"`, Current: `"64 N.m (47 lbf.ft)"`, Proposed: `"60 N.m (44 lbf.ft)"`}
	if !slices.Contains(e.Clashes, want) {
		t.Errorf("clashes are %+v, want %+v among them", e.Clashes, want)
	}
	d.refuse(t, fault.FieldsClash, "", "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: two.Name, ContentHash: two.ContentHash})
	d.refuse(t, fault.FieldsClash, "", "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 1, MergePatch: torque(t, "60", "44")}))

	// The same stale base as If-Match is a precondition that failed, with both sides.
	patch := func(body string) exchange {
		return doAt(t, d.running, "PATCH", "/v1/"+carrier+"/document", body, append(d.bearer("editor"), "Content-Type", "application/merge-patch+json", "If-Match", tag, "Proofload-Reason", "read once more")...)
	}
	if x := patch(`{"source":{"quote":"60 N.m (44 lbf.ft)"}}`); x.status != 412 || x.reason() != "ETAG_MISMATCH" || !strings.Contains(string(x.body), `"current":"\"64 N.m (47 lbf.ft)\"","proposed":"\"60 N.m (44 lbf.ft)\""`) {
		t.Errorf("a stale If-Match on the same field: %d %s", x.status, x.body)
	}
	if x := patch(`{"note":"cleaned twice"}`); x.status != 201 || !strings.Contains(string(x.body), `"base_revision":"2"`) {
		t.Errorf("a stale If-Match on another field: %d %s", x.status, x.body)
	}

	d.refuse(t, fault.RecheckRequired, "", "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: three.Name, ContentHash: three.ContentHash})
	was := three.ContentHash
	three = d.correction(t, "editor", "RecheckCorrection", &pb.RecheckCorrectionRequest{Name: three.Name, RequestId: request()})
	if three.ContentHash == was || three.Records[0].BaseRevision != 2 || !strings.Contains(three.Records[0].Document, "64 N.m") {
		t.Errorf("rechecked: %v", three)
	}
	if p := through(three).Position; p != 5 { // two publications, each with its approval before it
		t.Errorf("published at %d, want 5", p)
	}
}
