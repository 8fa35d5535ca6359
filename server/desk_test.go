package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/structpb"

	pb "proofload/api/proofload/v1"
	"proofload/server/fault"
	"proofload/server/ledger/personal"
)

// office is a server of its own with the tokens it gave out, asked over both wires.
type office struct {
	*running
	store string
	conn  *grpc.ClientConn
	// tokens are the secrets by role; "" is nobody.
	tokens map[string]string
	// asked notes the methods that answered well on both wires.
	asked map[string]bool
	// restFirst alternates, so that either wire is the first to do a thing.
	restFirst bool
}

var givenTokens = regexp.MustCompile(`(?m)^  (editor|reviewer|admin) +(plt_[a-z2-7]{32})  (\S.*)$`)

func startOffice(t *testing.T) *office {
	t.Helper()
	return startOfficeOn(t, "sqlite:"+filepath.Join(t.TempDir(), "desk.db"))
}

func startOfficeOn(t *testing.T, store string) *office {
	t.Helper()
	d := &office{store: store, tokens: map[string]string{}, asked: map[string]bool{}}
	d.running = start(t, "--store", d.store)
	for _, m := range givenTokens.FindAllStringSubmatch(d.greeting, -1) {
		d.tokens[m[1]] = m[2]
	}
	if len(d.tokens) != 3 {
		t.Fatalf("a new store greets with %q", d.greeting)
	}
	d.conn = dialed(t, d.running)
	return d
}

// bearer is the header of a role's token, none for "".
func (d *office) bearer(role string) []string {
	if role == "" {
		return nil
	}
	secret, ok := d.tokens[role]
	if !ok {
		secret = role // a secret by itself
	}
	return []string{"Authorization", "Bearer " + secret}
}

// verbOf returns the custom verb of a method: ":amend" of AmendCorrection.
func verbOf(method string) string {
	return ":" + strings.ToLower(regexp.MustCompile(`^[A-Z][a-z]+`).FindString(method))
}

// overREST turns a message into the request that the .proto files say it is.
func overREST(t *testing.T, method string, in proto.Message) (verb, path, body string) {
	t.Helper()
	m := proto.Clone(in).ProtoReflect()
	field := func(name protoreflect.Name) protoreflect.FieldDescriptor { return m.Descriptor().Fields().ByName(name) }
	name := ""
	if f := field("name"); f != nil {
		name = m.Get(f).String()
		m.Clear(f)
	}
	encode := func(x proto.Message) string {
		b, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(x)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	query := func(skip protoreflect.Name) string {
		q := url.Values{}
		m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			if f.Name() != skip {
				q.Set(string(f.Name()), fmt.Sprint(v.Interface()))
			}
			return true
		})
		if len(q) == 0 {
			return ""
		}
		return "?" + q.Encode()
	}
	switch {
	case method == "CreateCorrection":
		return "POST", "/v1/corrections" + query("correction"), encode(in.(*pb.CreateCorrectionRequest).Correction)
	case method == "CreateToken":
		return "POST", "/v1/tokens", encode(in.(*pb.CreateTokenRequest).Token)
	case strings.HasPrefix(method, "List"):
		return "GET", "/v1/" + strings.ToLower(strings.TrimPrefix(method, "List")) + query(""), ""
	case strings.HasPrefix(method, "Get"):
		return "GET", "/v1/" + name, ""
	}
	return "POST", "/v1/" + name + verbOf(method), encode(m.Interface())
}

// reply is what both wires answered alike: a message, or an error.
type reply struct {
	message proto.Message
	fault   *fault.Error
	status  int
	body    []byte
}

// ask sends a request over both wires and demands equal answers. Where the request
// changes something it carries a request id, so that whichever wire comes second
// gets the answer that the first one got.
func (d *office) ask(t *testing.T, role, method string, in proto.Message) reply {
	t.Helper()
	service := "Corrections"
	if strings.Contains(method, "Token") {
		service = "Access"
	}
	verb, path, body := overREST(t, method, in)
	var rest exchange
	sendREST := func() {
		header := d.bearer(role)
		if body != "" {
			header = append(header, "Content-Type", "application/json")
		}
		rest = doAt(t, d.running, verb, path, body, header...)
	}
	out := outputOf(t, service, method)
	var err error
	sendGRPC := func() {
		ctx := t.Context()
		if h := d.bearer(role); h != nil {
			ctx = metadata.AppendToOutgoingContext(ctx, "authorization", h[1])
		}
		err = d.conn.Invoke(ctx, "/proofload.v1."+service+"/"+method, in, out)
	}
	if d.restFirst = !d.restFirst; d.restFirst {
		sendREST()
		sendGRPC()
	} else {
		sendGRPC()
		sendREST()
	}
	if err != nil {
		return sameFault(t, method, err, rest)
	}
	if rest.status != 200 && (rest.status != 201 || method != "CreateCorrection") {
		t.Fatalf("%s: gRPC answers %v, REST %d %s", method, out, rest.status, rest.body)
	}
	over := out.ProtoReflect().New().Interface()
	if err := protojson.Unmarshal(rest.body, over); err != nil {
		t.Fatalf("%s: %v", method, err)
	}
	if !proto.Equal(out, over) {
		t.Errorf("%s: gRPC %v\nREST %s", method, protojson.Format(out), rest.body)
	}
	d.asked[service+"/"+method] = true
	return reply{message: out, status: rest.status, body: rest.body}
}

func outputOf(t *testing.T, service, method string) proto.Message {
	t.Helper()
	for _, f := range []protoreflect.FileDescriptor{pb.File_proofload_v1_corrections_proto, pb.File_proofload_v1_access_proto} {
		if s := f.Services().ByName(protoreflect.Name(service)); s != nil {
			if m := s.Methods().ByName(protoreflect.Name(method)); m != nil {
				kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Output().FullName())
				if err != nil {
					t.Fatal(err)
				}
				return kind.New().Interface()
			}
		}
	}
	t.Fatalf("no method %s/%s", service, method)
	return nil
}

// sameFault demands that an error over gRPC and a problem over HTTP say the same.
func sameFault(t *testing.T, method string, err error, rest exchange) reply {
	t.Helper()
	e := fault.From(err)
	var p fault.Problem
	if json.Unmarshal(rest.body, &p) != nil || p.Reason == "" {
		t.Fatalf("%s: gRPC answers %v, REST %d %s", method, err, rest.status, rest.body)
	}
	row := e.Kind.Row()
	over := &fault.Error{Kind: fault.Kind(p.Reason), Message: p.Detail, Metadata: p.Metadata, Violations: p.Violations, Clashes: p.Clashes}
	if !e.Equal(over) || status.Code(err) != row.Code || rest.status != row.Status || p.Status != row.Status {
		t.Errorf("%s: gRPC says %v %+v\nREST says %d %s", method, status.Code(err), e, rest.status, rest.body)
	}
	challenge := rest.header.Get("WWW-Authenticate")
	if (rest.status == 401) != strings.HasPrefix(challenge, "Bearer") && rest.status != 403 {
		t.Errorf("%s: %d with WWW-Authenticate %q; RFC 9110 section 15.5.2 asks for it with 401", method, rest.status, challenge)
	}
	return reply{fault: e, status: rest.status, body: rest.body}
}

// correction asks and demands a correction.
func (d *office) correction(t *testing.T, role, method string, in proto.Message) *pb.Correction {
	t.Helper()
	r := d.ask(t, role, method, in)
	if r.fault != nil {
		t.Fatalf("%s is refused: %d %s", method, r.status, r.body)
	}
	return r.message.(*pb.Correction)
}

// refuse asks and demands an error of a kind on both wires.
func (d *office) refuse(t *testing.T, want fault.Kind, says, role, method string, in proto.Message) *fault.Error {
	t.Helper()
	r := d.ask(t, role, method, in)
	if r.fault == nil || r.fault.Kind != want || !strings.Contains(r.fault.Message, says) {
		t.Errorf("%s: got %d %s, want %s with %q", method, r.status, r.body, want, says)
		return fault.New(want, "")
	}
	return r.fault
}

const carrier = "fasteners/quill-1-rear-carrier-bolt"

var request = func() func() string { // every call another id
	n := 0
	return func() string { n++; return fmt.Sprintf("request-%d", n) }
}()

// torque is a merge patch that sets the torque, printed pair and citation of the
// demo library's carrier bolt.
func torque(t *testing.T, newtonMetres, pair string) *structpb.Struct {
	t.Helper()
	return object(t, fmt.Sprintf(`{"tightening":{"stages":[{"torque":"%s N.m","also":"%s lbf.ft"}]},"source":{"quote":"%s N.m (%s lbf.ft)","read_on":"2026-11-20"}}`, newtonMetres, pair, newtonMetres, pair))
}

func object(t *testing.T, text string) *structpb.Struct {
	t.Helper()
	s := &structpb.Struct{}
	if err := protojson.Unmarshal([]byte(text), s); err != nil {
		t.Fatal(err)
	}
	return s
}

func list(t *testing.T, text string) *structpb.ListValue {
	t.Helper()
	l := &structpb.ListValue{}
	if err := protojson.Unmarshal([]byte(text), l); err != nil {
		t.Fatal(err)
	}
	return l
}

func propose(changes ...*pb.CorrectionChange) *pb.CreateCorrectionRequest {
	return &pb.CreateCorrectionRequest{RequestId: request(), Correction: &pb.Correction{Changes: changes, Reason: "the sheet was read again", Evidence: []string{"sheet 2 row 1"}}}
}

// The whole life of a correction, every step over both wires: what one wire did, the
// other is told when it asks the same.
func TestLifeOfACorrection(t *testing.T) { lifeOfACorrection(t, startOffice(t)) }

func lifeOfACorrection(t *testing.T, d *office) {
	t.Helper()
	judged := propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 1, MergePatch: torque(t, "64", "46")})
	judged.ValidateOnly, judged.RequestId = true, ""
	c := d.correction(t, "editor", "CreateCorrection", judged)
	if c.Name != "" || c.Findings.Blocking == 0 || c.State != "open" {
		t.Errorf("a pair that does not convert is judged %v", c)
	}
	if l := d.ask(t, "", "ListCorrections", &pb.ListCorrectionsRequest{}).message.(*pb.ListCorrectionsResponse); len(l.Corrections) != 0 {
		t.Errorf("what was only judged is kept: %v", l)
	}

	r := d.ask(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 1, MergePatch: torque(t, "64", "46")}))
	c = r.message.(*pb.Correction)
	if r.status != 201 || c.Name == "" || c.Etag == "" || c.Findings.Blocking == 0 || !slices.Equal(c.Authors, []string{"Maud Ibbot"}) || c.CheckedPosition != 1 {
		t.Fatalf("proposed: %d %v", r.status, c)
	}
	at := slices.IndexFunc(c.Records[0].Fields, func(f *pb.FieldChange) bool { return f.Pointer == "/tightening/stages/0/torque" })
	// 64 N·m are 47.2 lbf·ft (1 lbf·ft = 1.355818 N·m, NIST SP 811 appendix B.8); 64/62 is up by 3.23 %.
	if f := c.Records[0].Fields[at]; f.Old != "62 N.m" || f.New != "64 N.m" || f.NewTorque.Imperial != "47 lbf·ft" || f.ChangePercent != 3.23 ||
		f.Text != "torque of stage 1 up 3.2 % from 62 N·m (46 lbf·ft) to 64 N·m (47 lbf·ft)" {
		t.Errorf("the torque is shown as %v", f)
	}
	d.refuse(t, fault.FindingsBlock, "", "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: c.Name, ContentHash: c.ContentHash})

	was := c
	c = d.correction(t, "editor", "AmendCorrection", &pb.AmendCorrectionRequest{Name: c.Name, Etag: c.Etag, RequestId: request(),
		Changes: []*pb.CorrectionChange{{Record: carrier, BaseRevision: 1, MergePatch: torque(t, "64", "47")}}})
	if c.Etag == was.Etag || c.ContentHash == was.ContentHash || c.Findings.Blocking != 0 {
		t.Fatalf("amended: %v", c)
	}
	if got := d.correction(t, "", "GetCorrection", &pb.GetCorrectionRequest{Name: c.Name}); !proto.Equal(got, c) {
		t.Errorf("read: %v", got)
	}
	for _, q := range []*pb.ListCorrectionsRequest{{}, {State: "open"}, {Record: carrier}, {State: "open", Record: carrier, PageSize: 1}} {
		if l := d.ask(t, "", "ListCorrections", q).message.(*pb.ListCorrectionsResponse); len(l.Corrections) != 1 || !proto.Equal(l.Corrections[0], c) || l.NextPageToken != "" {
			t.Errorf("listed by %v: %v", q, l)
		}
	}
	c = d.correction(t, "reviewer", "RecheckCorrection", &pb.RecheckCorrectionRequest{Name: c.Name, RequestId: request()})
	reach := d.ask(t, "", "GetCorrectionReach", &pb.GetCorrectionReachRequest{Name: c.Name + "/reach"}).message.(*pb.CorrectionReach)
	if len(reach.Records) != 1 || len(reach.Procedures) == 0 || reach.Records[0].ChangePercent != 3.23 {
		t.Errorf("reach: %v", reach)
	}
	c = d.correction(t, "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: c.Name, ContentHash: c.ContentHash, Comment: "read it too", RequestId: request()})
	if c.State != "approved" || c.Decisions[0].By != "Piet Oram" || c.Decisions[0].ContentHash != c.ContentHash {
		t.Fatalf("approved: %v", c)
	}
	c = d.sign(t, "reviewer", "Piet Oram", c)
	publish := &pb.PublishCorrectionRequest{Name: c.Name, Etag: c.Etag, RequestId: request()}
	c = d.correction(t, "reviewer", "PublishCorrection", publish)
	if c.State != "published" || c.Position != 4 || c.Reach == nil || c.End.By != "Piet Oram" {
		t.Fatalf("published: %v", c)
	}
	verb, path, body := overREST(t, "PublishCorrection", publish)
	if x := doAt(t, d.running, verb, path, body, append(d.bearer("reviewer"), "Content-Type", "application/json")...); x.header.Get("Proofload-Position") != "4" {
		t.Errorf("a publication answers with position %q, want 4", x.header.Get("Proofload-Position"))
	}
	x := doAt(t, d.running, "GET", "/v1/"+carrier, "")
	if !bytes.Contains(x.body, []byte(`"as_printed":"64 N.m"`)) || x.header.Get("Proofload-Position") != "4" {
		t.Errorf("after publishing, the record reads %s", x.body)
	}
	revisions := doAt(t, d.running, "GET", "/v1/"+carrier+"/revisions", "")
	if !bytes.Contains(revisions.body, []byte(`"authors":["Maud Ibbot"],"reviewer":"Piet Oram","reason":"the sheet was read again"`)) {
		t.Errorf("its history is %s", revisions.body)
	}

	other := d.correction(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 2, Withdraw: true}))
	other = d.correction(t, "reviewer", "RejectCorrection", &pb.RejectCorrectionRequest{Name: other.Name, ContentHash: other.ContentHash, Comment: "it is still in use", RequestId: request()})
	if other.State != "rejected" || other.End.Comment != "it is still in use" {
		t.Errorf("rejected: %v", other)
	}
	other = d.correction(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 2, JsonPatch: list(t, `[{"op":"add","path":"/note","value":"seen twice"}]`)}))
	other = d.correction(t, "editor", "WithdrawCorrection", &pb.WithdrawCorrectionRequest{Name: other.Name, Etag: other.Etag, Comment: "not needed", RequestId: request()})
	if other.State != "withdrawn" {
		t.Errorf("withdrawn: %v", other)
	}
	s := pb.File_proofload_v1_corrections_proto.Services().ByName("Corrections")
	for i := range s.Methods().Len() {
		if name := string(s.Methods().Get(i).Name()); !d.asked["Corrections/"+name] {
			t.Errorf("%s is called in no step", name)
		}
	}
}

// sign has a reviewer sign a correction with a key of their own.
func (d *office) sign(t *testing.T, role, person string, c *pb.Correction) *pb.Correction {
	t.Helper()
	var library struct{ Origin string }
	private, _, err := personal.NewKey(person)
	if err == nil {
		err = json.Unmarshal(doAt(t, d.running, "GET", "/v1/keys/ledger", "").body, &library)
	}
	if err != nil {
		t.Fatal(err)
	}
	signed, err := personal.Sign(personal.Statement{Library: library.Origin, Content: c.ContentHash, Role: personal.Reviewer, Person: person}, private)
	if err != nil {
		t.Fatal(err)
	}
	return d.correction(t, role, "SignCorrection", &pb.SignCorrectionRequest{Name: c.Name, Note: signed, RequestId: request()})
}

// The same request id and the same request get the same bytes, also of a server
// that was stopped and started in between; another request does not.
func TestRepeatedRequests(t *testing.T) {
	store := "sqlite:" + filepath.Join(t.TempDir(), "repeat.db")
	ctx, cancel := context.WithCancel(context.Background())
	r, err := launch(ctx, "--store", store)
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	tokens := givenTokens.FindAllStringSubmatch(r.greeting, -1)
	if len(tokens) != 3 {
		t.Fatalf("greeting is %q", r.greeting)
	}
	editor, reviewer := "Bearer "+tokens[0][2], "Bearer "+tokens[1][2]
	tag := doAt(t, r, "GET", "/v1/"+carrier+"/document", "").header.Get("ETag")
	const patch = `{"note":"cleaned before fitting"}`
	send := func(to *running, key, body string) exchange {
		return doAt(t, to, "PATCH", "/v1/"+carrier+"/document", body, "Authorization", editor, "Content-Type", "application/merge-patch+json",
			"If-Match", tag, "Proofload-Reason", "a remark for the shop", "Idempotency-Key", key)
	}
	first := send(r, "one", patch)
	if first.status != 201 {
		t.Fatalf("%d %s", first.status, first.body)
	}
	again, quoted := send(r, "one", patch), send(r, `"one"`, patch)
	var made pb.Correction
	if err := protojson.Unmarshal(first.body, &made); err != nil {
		t.Fatal(err)
	}
	approve := func(to *running) exchange {
		return doAt(t, to, "POST", "/v1/"+made.Name+":approve", `{"content_hash":"`+made.ContentHash+`"}`, "Authorization", reviewer, "Content-Type", "application/json", "Idempotency-Key", "two")
	}
	approved := approve(r)
	publish := func(to *running) exchange {
		return doAt(t, to, "POST", "/v1/"+made.Name+":publish", `{"etag":"\"2\""}`, "Authorization", reviewer, "Content-Type", "application/json", "Idempotency-Key", "three")
	}
	published := publish(r)
	if approved.status != 200 || published.status != 200 {
		t.Fatalf("approved %d %s, published %d %s", approved.status, approved.body, published.status, published.body)
	}
	cancel()
	if err := <-r.done; err != nil {
		t.Fatal(err)
	}
	ctx, cancel = context.WithCancel(context.Background())
	second, err := launch(ctx, "--store", store)
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	defer func() { cancel(); <-second.done }()
	if givenTokens.MatchString(second.greeting) {
		t.Error("tokens are shown a second time")
	}
	for name, pair := range map[string][2]exchange{
		"at once": {first, again}, "with quotes": {first, quoted}, "after a restart": {first, send(second, "one", patch)},
		"approval after a restart": {approved, approve(second)}, "publication after a restart": {published, publish(second)},
	} {
		a, b := pair[0], pair[1]
		if a.status != b.status || !bytes.Equal(a.body, b.body) || a.header.Get("Location") != b.header.Get("Location") || a.header.Get("ETag") != b.header.Get("ETag") {
			t.Errorf("%s: first %d %s\nthen %d %s", name, a.status, a.body, b.status, b.body)
		}
	}
	if x := send(second, "one", `{"note":"another"}`); x.status != 422 || x.reason() != "REQUEST_ID_REUSED" {
		t.Errorf("another body under the same id: %d %s", x.status, x.body)
	}
	if x := doAt(t, second, "GET", "/v1/"+carrier+"/revisions", ""); bytes.Count(x.body, []byte(`"number"`)) != 2 {
		t.Errorf("repeating made more revisions: %s", x.body)
	}
}
