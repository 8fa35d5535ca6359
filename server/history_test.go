package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"proofload/api/client"
	pb "proofload/api/proofload/v1"
	"proofload/server/fault"
)

// retorque publishes another torque of the carrier bolt and returns the position.
func (d *office) retorque(t *testing.T, base int64, newtonMetres, pair string) int64 {
	t.Helper()
	c := d.correction(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: base, MergePatch: torque(t, newtonMetres, pair)}))
	c = d.correction(t, "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: c.Name, ContentHash: c.ContentHash, RequestId: request()})
	return d.correction(t, "reviewer", "PublishCorrection", &pb.PublishCorrectionRequest{Name: c.Name, Etag: c.Etag, RequestId: request()}).Position
}

// history asks a method of History over both wires and demands the same answer. The
// address is the one of REST, with the body for those that have one.
func (d *office) history(t *testing.T, role, method string, in, out proto.Message, verb, address, body string) *fault.Error {
	t.Helper()
	header := d.bearer(role)
	if body != "" {
		header = append(header, "Content-Type", "application/json")
	}
	rest := doAt(t, d.running, verb, address, body, header...)
	ctx := t.Context()
	if h := d.bearer(role); h != nil {
		ctx = metadata.AppendToOutgoingContext(ctx, "authorization", h[1])
	}
	var head metadata.MD
	if err := d.conn.Invoke(ctx, "/proofload.v1.History/"+method, in, out, grpc.Header(&head)); err != nil {
		return sameFault(t, method, err, rest).fault
	}
	if rest.status != http.StatusOK {
		t.Fatalf("%s: gRPC answers %v, REST %d %s", method, out, rest.status, rest.body)
	}
	over := out.ProtoReflect().New().Interface()
	if err := protojson.Unmarshal(rest.body, over); err != nil {
		t.Fatalf("%s: %v", method, err)
	}
	if !proto.Equal(out, over) {
		t.Errorf("%s: gRPC %v\nREST %s", method, protojson.Format(out), rest.body)
	}
	if got := rest.header.Values("Proofload-Position"); !slices.Equal(got, head.Get("proofload-position")) {
		t.Errorf("%s: position is %v over REST, %v over gRPC", method, got, head.Get("proofload-position"))
	}
	d.asked["History/"+method] = true
	return nil
}

func TestHistory(t *testing.T) {
	d := startOffice(t)
	if p := d.retorque(t, 1, "64", "47"); p != 3 {
		t.Fatalf("published at %d", p)
	}

	// Releases: who may name what, and that a name is given once.
	create := func(role, id, at string) (*pb.Release, *fault.Error) {
		t.Helper()
		var made pb.Release
		q := url.Values{"release_id": {id}}
		if at != "" {
			q.Set("at", at)
		}
		f := d.history(t, role, "CreateRelease", &pb.CreateReleaseRequest{Release: &pb.Release{Note: "for the books"}, ReleaseId: id, At: at}, &made, "POST", "/v1/releases?"+q.Encode(), `{"note":"for the books"}`)
		return &made, f
	}
	for _, c := range []struct {
		role, id, at string
		want         fault.Kind
	}{
		{"", "old", "position:1", fault.TokenMissing},
		{"editor", "old", "position:1", fault.RoleRequired},
		{"reviewer", "old books", "position:1", fault.InvalidArgument},
		{"reviewer", "", "position:1", fault.InvalidArgument},
		{"reviewer", "old", "position:9", fault.PositionNotPublished},
		{"reviewer", "old", "release:older", fault.MomentNotFound},
		{"reviewer", "old", "yesterday", fault.InvalidArgument},
	} {
		if _, f := create(c.role, c.id, c.at); f == nil || f.Kind != c.want {
			t.Errorf("%s names %s %q: got %v, want %s", c.role, c.at, c.id, f, c.want)
		}
	}
	old, f := create("reviewer", "old", "position:1")
	if f != nil || old.Name != "releases/old" || old.Position != 1 || old.Creator != "Piet Oram" || old.Note != "for the books" || old.CreateTime == nil {
		t.Fatalf("got %v, %v", old, f)
	}
	if again, f := create("admin", "old", "position:1"); f != nil || !proto.Equal(again, old) {
		t.Errorf("naming the same position again gives %v, %v; want %v", again, f, old)
	}
	if _, f := create("admin", "old", ""); f == nil || f.Kind != fault.ReleaseTaken || f.Metadata["position"] != "1" {
		t.Errorf("a name that is taken gives %v", f)
	}
	if r, f := create("admin", "new", ""); f != nil || r.Position != 4 || r.Creator != "Runa Estby" {
		t.Errorf("the newest position is named as %v, %v", r, f)
	}
	var got pb.Release
	if f := d.history(t, "", "GetRelease", &pb.GetReleaseRequest{Name: "releases/old"}, &got, "GET", "/v1/releases/old", ""); f != nil || !proto.Equal(&got, old) {
		t.Errorf("got %v, %v", &got, f)
	}
	if f := d.history(t, "", "GetRelease", &pb.GetReleaseRequest{Name: "releases/never"}, &got, "GET", "/v1/releases/never", ""); f == nil || f.Kind != fault.MomentNotFound {
		t.Errorf("a release that is not there: %v", f)
	}
	var page pb.ListReleasesResponse
	if f := d.history(t, "", "ListReleases", &pb.ListReleasesRequest{PageSize: 1}, &page, "GET", "/v1/releases?page_size=1", ""); f != nil || len(page.Releases) != 1 || page.Releases[0].Name != "releases/old" || page.NextPageToken == "" {
		t.Fatalf("got %v, %v", &page, f)
	}
	token := page.NextPageToken
	if f := d.history(t, "", "ListReleases", &pb.ListReleasesRequest{PageSize: 1, PageToken: token}, &page, "GET", "/v1/releases?page_size=1&page_token="+token, ""); f != nil || len(page.Releases) != 1 || page.Releases[0].Name != "releases/new" || page.NextPageToken != "" {
		t.Errorf("got %v, %v", &page, f)
	}

	d.checkDiff(t)
	d.checkLog(t)
	d.checkMoments(t)
	d.checkPages(t)

	// Every method was asked over both wires but the watch, which the tests of both transports are for.
	methods := pb.File_proofload_v1_history_proto.Services().ByName(protoreflect.Name("History")).Methods()
	for i := range methods.Len() {
		if m := methods.Get(i); !m.IsStreamingServer() && !d.asked["History/"+string(m.Name())] {
			t.Errorf("%s is called in no test", m.Name())
		}
	}
}

// checkDiff compares the moments before and after the torque moved.
func (d *office) checkDiff(t *testing.T) {
	var diff pb.DiffLibraryResponse
	ask := func(from, to string) *fault.Error {
		t.Helper()
		return d.history(t, "", "DiffLibrary", &pb.DiffLibraryRequest{From: from, To: to}, &diff, "GET", "/v1/diff?"+url.Values{"from": {from}, "to": {to}}.Encode(), "")
	}
	// 62 N·m are 45.7 lbf·ft, 64 are 47.2 (1 lbf·ft = 1.355818 N·m, NIST SP 811 appendix
	// B.8); 64/62 is up by 3.2 %, 62/64 down by 3.1 %.
	for _, c := range []struct{ from, to, text string }{
		{"release:old", "release:new", "torque up 3.2 % from 62 N·m (46 lbf·ft) to 64 N·m (47 lbf·ft)"},
		{"position:1", "", "torque up 3.2 % from 62 N·m (46 lbf·ft) to 64 N·m (47 lbf·ft)"},
		{"position:3", "position:1", "torque down 3.1 % from 64 N·m (47 lbf·ft) to 62 N·m (46 lbf·ft)"},
	} {
		if f := ask(c.from, c.to); f != nil || diff.TotalSize != 1 || len(diff.Differences) != 1 {
			t.Fatalf("%s to %s: %v, %v", c.from, c.to, &diff, f)
		}
		one := diff.Differences[0]
		if one.Name != carrier || one.How != "changed" || one.Safety != "brake" || len(one.Moves) != 1 || one.Moves[0].Text != c.text || one.Moves[0].NewTorque.GetImperial() == "" ||
			!slices.ContainsFunc(one.Fields, func(f *pb.FieldDifference) bool { return f.Pointer == "/tightening/stages/0/torque" }) {
			t.Errorf("%s to %s: %v", c.from, c.to, one)
		}
	}
	if f := ask("position:3", "release:new"); f != nil || diff.TotalSize != 0 || diff.FromPosition != 3 || diff.ToPosition != 4 {
		t.Errorf("moments between which no record changed: %v, %v", &diff, f)
	}
	for from, want := range map[string]fault.Kind{"": fault.InvalidArgument, "then": fault.InvalidArgument, "release:never": fault.MomentNotFound, "position:9": fault.PositionNotPublished} {
		if f := ask(from, ""); f == nil || f.Kind != want {
			t.Errorf("from %q: %v, want %s", from, f, want)
		}
	}
}

// checkLog reads the log in pages and through filters.
func (d *office) checkLog(t *testing.T) {
	var page pb.ListLogResponse
	ask := func(in *pb.ListLogRequest, query string) *fault.Error {
		t.Helper()
		return d.history(t, "", "ListLog", in, &page, "GET", "/v1/log?"+query, "")
	}
	if f := ask(&pb.ListLogRequest{After: 2, Documents: true, Moves: true}, "after=2&documents=true&moves=true"); f != nil || len(page.Entries) != 3 || page.Position != 5 {
		t.Fatalf("got %v, %v", &page, f)
	}
	e := page.Entries[0]
	if e.Name != carrier || e.Revision != 2 || e.Position != 3 || !slices.Equal(e.Authors, []string{"Maud Ibbot"}) || e.Reviewer != "Piet Oram" || e.Reason == "" || e.CreateTime == nil ||
		!bytes.Contains(e.Document, []byte(`"64 N.m"`)) || len(e.Difference.GetMoves()) != 1 || e.Difference.Moves[0].OldTorque.Metric != "62 N·m" {
		t.Errorf("entry is %v", e)
	}
	// The first publication has more entries than a page: it is split, each entry once.
	var names []string
	token := ""
	for pages := 0; ; pages++ {
		if f := ask(&pb.ListLogRequest{PageSize: 100, PageToken: token, Kinds: []string{"fastener", "source"}}, "page_size=100&kinds=fastener&kinds=source&page_token="+token); f != nil {
			t.Fatal(f)
		}
		if len(page.Entries) > 100 {
			t.Fatalf("a page of 100 has %d entries", len(page.Entries))
		}
		for _, e := range page.Entries {
			names = append(names, fmt.Sprintf("%s/%d", e.Name, e.Revision))
		}
		if token = page.NextPageToken; token == "" {
			if pages < 2 || page.Position != 5 {
				t.Errorf("%d pages, the last up to position %d", pages+1, page.Position)
			}
			break
		}
	}
	lib := demoLibrary(t)
	want := 1
	for e := range lib.All("fastener") {
		want++
		if !slices.Contains(names, string(e.Name())+"/1") {
			t.Errorf("%s is in no page", e.Name())
		}
	}
	for range lib.All("source") {
		want++
	}
	sorted := slices.Clone(names)
	slices.Sort(sorted)
	if len(slices.Compact(sorted)) != len(names) || len(names) != want {
		t.Errorf("%d entries, some of them twice; want %d", len(names), want)
	}
	for query, c := range map[string]struct {
		in   *pb.ListLogRequest
		want fault.Kind
	}{
		"after=9":                 {&pb.ListLogRequest{After: 9}, fault.PositionNotPublished},
		"after=-1":                {&pb.ListLogRequest{After: -1}, fault.InvalidArgument},
		"after=2&at=release:old":  {&pb.ListLogRequest{After: 2, At: "release:old"}, fault.InvalidArgument},
		"kinds=nut":               {&pb.ListLogRequest{Kinds: []string{"nut"}}, fault.InvalidArgument},
		"names=nut":               {&pb.ListLogRequest{Names: []string{"nut"}}, fault.InvalidArgument},
		"vehicle=Quill":           {&pb.ListLogRequest{Vehicle: "Quill"}, fault.InvalidArgument},
		"page_token=AAAA":         {&pb.ListLogRequest{PageToken: "AAAA"}, fault.PageTokenInvalid},
		"page_size=-1&source=a-b": {&pb.ListLogRequest{PageSize: -1, Source: "a-b"}, fault.InvalidArgument},
	} {
		if f := ask(c.in, query); f == nil || f.Kind != c.want {
			t.Errorf("%s: got %v, want %s", query, f, c.want)
		}
	}
}

// checkMoments reads everything that can be read at a moment at the three names of
// one, and now: the three say the same, of position 1, and what changed differs.
func (d *office) checkMoments(t *testing.T) {
	x := doAt(t, d.running, "GET", "/v1/log?page_size=1", "")
	var first struct {
		Entries []struct {
			CreateTime string `json:"create_time"`
		}
	}
	if err := json.Unmarshal(x.body, &first); err != nil || len(first.Entries) != 1 {
		t.Fatal(err, string(x.body))
	}
	moments := []string{"position:1", "release:old", "time:" + first.Entries[0].CreateTime}
	for _, r := range []struct {
		path    string
		changed bool
	}{
		{"/v1/" + carrier, true},
		{"/v1/" + carrier + "/document", true},
		{"/v1/" + carrier + "/revisions", true},
		{"/v1/" + carrier + "/uses", false},
		{"/v1/fasteners?place=rear+brake&vehicle=quill-1", true},
		{"/v1/vehicles/quill-1/fasteners?place=rear+brake", true},
		{"/v1/fasteners:resolve?vehicle=quill-1&place=rear+brake&title=carrier+bolt&options=rear_brake%3Ddisc&built=2019-W01", true},
		{"/v1/procedures/quill-1-rear-hub-bearing", true},
		{"/v1/vehicles/quill-1", false}, {"/v1/vehicles", false},
		{"/v1/assemblies/quill-1-rear-hub-disc", false}, {"/v1/assemblies", false},
		{"/v1/procedures", true}, {"/v1/procedures?vehicle=pell-1", false},
		{"/v1/sources/quill-chassis-2018", false}, {"/v1/sources", false},
		{"/v1/log?kinds=fastener&page_size=1000", true},
	} {
		sep := "?"
		if strings.Contains(r.path, "?") {
			sep = "&"
		}
		now := doAt(t, d.running, "GET", r.path, "")
		if now.status != http.StatusOK || now.header.Get("Proofload-Position") != "5" {
			t.Errorf("%s: %d at position %s %s", r.path, now.status, now.header.Get("Proofload-Position"), now.body)
		}
		var before []byte
		for _, m := range moments {
			x := doAt(t, d.running, "GET", r.path+sep+"at="+url.QueryEscape(m), "")
			if x.status != http.StatusOK || x.header.Get("Proofload-Position") != "1" {
				t.Errorf("%s at %s: %d at position %s %s", r.path, m, x.status, x.header.Get("Proofload-Position"), x.body)
			}
			if before == nil {
				before = x.body
			}
			if !bytes.Equal(x.body, before) {
				t.Errorf("%s at %s is not what it is at %s", r.path, m, moments[0])
			}
		}
		if bytes.Equal(before, now.body) == r.changed {
			t.Errorf("%s: changed since position 1 is %t, want %t", r.path, !r.changed, r.changed)
		}
	}
	// Search reads the newest state only, and says so rather than answering for another.
	if x := doAt(t, d.running, "GET", "/v1/search?query=hub+nut&at=position:1", ""); x.status != http.StatusBadRequest || !strings.Contains(string(x.body), "at") {
		t.Errorf("a search of the past: %d %s", x.status, x.body)
	}
}

// checkPages reads the pages of what changed, as a browser does.
func (d *office) checkPages(t *testing.T) {
	for path, says := range map[string][]string{
		"/" + carrier + "/history":             {"Revision 2", "torque up 3.2\u00a0% from 62", "64\u00a0N·m", "the sheet was read again", "Maud Ibbot", "reviewed by Piet Oram", "brake", "Revision 1", "position:1"},
		"/releases":                            {"old", "for the books", "Piet Oram", "/diff?from=release:old"},
		"/diff?from=release:old":               {"1 record", "torque up 3.2\u00a0%", "/" + carrier + "/history", "/tightening/stages/0/torque", "62 N.m", "64 N.m"},
		"/diff?from=position:3&to=release:old": {"torque down 3.1\u00a0%"},
		"/diff?from=release:new":               {"Nothing differs"},
	} {
		x := doAt(t, d.running, "GET", path, "", browser...)
		if x.status != http.StatusOK || !strings.HasPrefix(x.header.Get("Content-Type"), "text/html") || !bytes.Contains(x.body, []byte("maker&#39;s own information")) {
			t.Errorf("%s: %d %s, or it does not defer to the maker", path, x.status, x.header.Get("Content-Type"))
		}
		for _, s := range says {
			if !bytes.Contains(x.body, []byte(s)) {
				t.Errorf("%s does not say %q:\n%s", path, s, x.body)
			}
		}
		if bytes.Contains(bytes.ReplaceAll(x.body, []byte("<script src=\"/"), nil), []byte("<script")) {
			t.Errorf("%s has a script that is not a file of this server", path)
		}
	}
	for path, want := range map[string]int{
		"/diff": http.StatusSeeOther, "/diff?from=then": http.StatusBadRequest, "/diff?from=release:never": http.StatusNotFound, "/fasteners/never/history": http.StatusNotFound, "/releases?page_token=x": http.StatusBadRequest,
	} {
		if x := doAt(t, d.running, "GET", path, "", browser...); x.status != want {
			t.Errorf("%s: %d, want %d", path, x.status, want)
		}
	}
}

// Watches end at once when the server is told to stop, and say where to go on; they
// do not hold it up.
func TestWatchesEndWithTheServer(t *testing.T) {
	r := start(t)
	c := dial(t, r)
	stream, err := c.History.WatchLog(t.Context(), &pb.WatchLogRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if e, err := stream.Recv(); err != nil || e.Position != 1 {
		t.Fatalf("got %v, %v", e, err)
	}
	transport := &http.Transport{}
	defer transport.CloseIdleConnections()
	in, err := http.NewRequestWithContext(t.Context(), "GET", "http://"+r.http+"/v1/log:watch", nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := transport.RoundTrip(in)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		t.Fatalf("the watch is answered %d", answer.StatusCode)
	}
	begin := time.Now()
	r.signals <- syscall.SIGTERM
	if err := <-r.done; err != nil || time.Since(begin) > 5*time.Second {
		t.Errorf("server stopped after %s with %v", time.Since(begin), err)
	}
	r.done <- nil
	for err = error(nil); err == nil; {
		_, err = stream.Recv()
	}
	if f := fault.From(err); client.Reason(err) == "" && f.Kind != fault.Draining || f.Metadata["resume_after"] != "1" {
		t.Errorf("the watch over gRPC ends with %v", err)
	}
	last := ""
	for lines := bufio.NewScanner(answer.Body); lines.Scan(); {
		if lines.Text() != "" {
			last = lines.Text()
		}
	}
	if !strings.HasPrefix(last, "data: ") || !strings.Contains(last, `"DRAINING"`) || !strings.Contains(last, `"resume_after":"1"`) {
		t.Errorf("the watch over HTTP ends with %q", last)
	}
}
