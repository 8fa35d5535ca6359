package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"

	"connectrpc.com/connect"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	gzipcodec "google.golang.org/grpc/encoding/gzip"

	pb "proofload/api/proofload/v1"
)

// A filter by what never was is a slip, and an empty list would hide it.
func TestFiltersByWhatIsNot(t *testing.T) {
	for _, c := range []struct {
		path, reason, says string
	}{
		{"/v1/fasteners?vehicle=nope-1", "RECORD_NOT_FOUND", "vehicles/nope-1 does not exist"},
		{"/v1/fasteners?vehicle=quil-1", "RECORD_NOT_FOUND", "did you mean vehicles/quill-1?"},
		{"/v1/assemblies?vehicle=quil-1", "RECORD_NOT_FOUND", "did you mean vehicles/quill-1?"},
		{"/v1/procedures?vehicle=quil-1", "RECORD_NOT_FOUND", "did you mean vehicles/quill-1?"},
		{"/v1/fasteners?source=nope", "RECORD_NOT_FOUND", "sources/nope does not exist"},
		{"/v1/vehicles?source=quill-chasis-2018", "RECORD_NOT_FOUND", "did you mean sources/quill-chassis-2018?"},
		{"/v1/vehicles/nope-1/fasteners", "RECORD_NOT_FOUND", "vehicles/nope-1"},
	} {
		if x := do(t, "GET", c.path, ""); x.status != 404 || x.reason() != c.reason || !strings.Contains(x.field(t, "detail"), c.says) {
			t.Errorf("GET %s: %d %s", c.path, x.status, x.body)
		}
	}
	for _, path := range []string{"/v1/fasteners?place=rear+hup", "/v1/assemblies?place=nowhere+at+all"} {
		if x := do(t, "GET", path, ""); x.status != 400 || x.reason() != "INVALID_ARGUMENT" || !strings.Contains(x.field(t, "detail"), "the likeliest: ") {
			t.Errorf("GET %s: %d %s", path, x.status, x.body)
		}
	}
	plain, spelt := do(t, "GET", "/v1/fasteners?place=rear+hub", ""), do(t, "GET", "/v1/fasteners?place=Rear++HUB", "")
	if plain.status != 200 || !bytes.Equal(plain.body, spelt.body) || len(plain.body) < 1000 {
		t.Errorf("a place in capitals: %d %.200s", spelt.status, spelt.body)
	}
	// Both are there, and nothing is for both: that is an answer.
	if x := do(t, "GET", "/v1/fasteners?place=rear+hub&vehicle=quill-1&joint=tension", ""); x.status != 200 || string(x.body) != `{"fasteners":[]}`+"\n" {
		t.Errorf("an empty list: %d %s", x.status, x.body)
	}
}

// Big answers are a tenth of their size for those who take gzip, with a validator of
// their own that comes back as that of the answer.
func TestAnswersAreCompressed(t *testing.T) {
	for _, path := range []string{"/v1/fasteners?page_size=1000", "/openapi.json", "/vehicles/quill-1", "/v1/procedures/quill-1-rear-hub-bearing", "/schemas/fastener.json"} {
		plain, zipped := do(t, "GET", path, ""), do(t, "GET", path, "", "Accept-Encoding", "gzip")
		if plain.header.Get("Content-Encoding") != "" || zipped.header.Get("Content-Encoding") != "gzip" || !slices.Contains(zipped.header.Values("Vary"), "Accept-Encoding") {
			t.Errorf("%s: encoding %q, %q, Vary %q", path, plain.header.Get("Content-Encoding"), zipped.header.Get("Content-Encoding"), zipped.header.Values("Vary"))
			continue
		}
		r, err := gzip.NewReader(bytes.NewReader(zipped.body))
		if err != nil {
			t.Fatal(err)
		}
		if whole, err := io.ReadAll(r); err != nil || !bytes.Equal(whole, plain.body) || len(zipped.body)*3 > len(whole) {
			t.Errorf("%s: %d bytes of %d: %v", path, len(zipped.body), len(plain.body), err)
		}
		if path == "/vehicles/quill-1" {
			continue
		}
		tag := zipped.header.Get("Etag")
		if tag != strings.TrimSuffix(plain.header.Get("Etag"), `"`)+`-gzip"` {
			t.Errorf("%s: ETag %s, compressed %s", path, plain.header.Get("Etag"), tag)
		}
		for _, accept := range []string{"gzip", "identity"} {
			if x := do(t, "GET", path, "", "Accept-Encoding", accept, "If-None-Match", tag); x.status != 304 || len(x.body) > 0 {
				t.Errorf("%s with %s: %d", path, tag, x.status)
			}
		}
	}
	if x := do(t, "GET", "/v1/"+carrier, "", "Accept-Encoding", "br, zstd"); x.header.Get("Content-Encoding") != "" {
		t.Errorf("answered %s to one who takes no gzip", x.header.Get("Content-Encoding"))
	}
	conn := dialed(t, demoServer)
	list, err := pb.NewSpecsClient(conn).ListFasteners(t.Context(), &pb.ListFastenersRequest{PageSize: 200}, grpc.UseCompressor(gzipName))
	if err != nil || len(list.Fasteners) != 200 {
		t.Errorf("a call in gzip: %d, %v", len(list.GetFasteners()), err)
	}
}

// gzipName is the name of the encoding; naming the package registers it.
const gzipName = gzipcodec.Name

// What may be asked again has a validator, and a moment that cannot be is refused.
func TestEveryReadHasAValidator(t *testing.T) {
	for _, path := range []string{
		"/v1/fasteners", "/v1/vehicles/quill-1/fasteners", "/v1/search?query=nut", "/v1/fasteners:resolve?vehicle=quill-1&place=rear+hub&title=nut", "/openapi.json", "/schemas/source.json",
		"/v1/" + carrier, "/v1/" + carrier + "/document", "/v1/" + carrier + "/revisions", "/v1/" + carrier + "/uses", "/v1/rules", "/v1/log", "/v1/checkpoints/newest",
	} {
		x := do(t, "GET", path, "")
		tag := x.header.Get("Etag")
		if x.status != 200 || len(tag) < 10 || strings.HasPrefix(tag, "W/") {
			t.Errorf("%s: %d, ETag %q", path, x.status, tag)
			continue
		}
		if x := do(t, "GET", path, "", "If-None-Match", tag); x.status != 304 || len(x.body) > 0 || x.header.Get("Etag") != tag {
			t.Errorf("%s again: %d, ETag %s", path, x.status, x.header.Get("Etag"))
		}
		// RFC 9110, section 13.1.1.
		if x := do(t, "GET", path, "", "If-Match", tag); x.status != 200 {
			t.Errorf("%s with If-Match of its own: %d", path, x.status)
		}
		if x := do(t, "GET", path, "", "If-Match", `"another"`); x.status != 412 || x.reason() != "ETAG_MISMATCH" {
			t.Errorf("%s with If-Match of another: %d %s", path, x.status, x.body)
		}
	}
	if x := do(t, "GET", "/v1/fasteners?page_size=3&joint=clamp", ""); !strings.HasPrefix(x.header.Get("Link"), "</v1/fasteners?joint=clamp&page_size=3&page_token=") || !strings.HasSuffix(x.header.Get("Link"), `>; rel="next"`) {
		t.Errorf("next page: %q", x.header.Get("Link"))
	}
	if x := do(t, "GET", "/v1/"+carrier+"/document", ""); x.header.Get("Link") != `</schemas/fastener.json>; rel="describedby"; type="application/schema+json"` {
		t.Errorf("schema of a document: %q", x.header.Get("Link"))
	}
	if x := do(t, "OPTIONS", "/v1/"+carrier+"/document", ""); x.status != 204 || !strings.Contains(x.header.Get("Allow"), "PATCH") || !strings.Contains(x.header.Get("Accept-Patch"), "merge-patch") {
		t.Errorf("OPTIONS: %d %v", x.status, x.header)
	}
}

// libraryWords are what libraries say of a request that they cannot read; none of it
// may reach a caller.
var libraryWords = []string{
	"strconv", "invalid syntax", "unexpected EOF", "unexpected token", "syntax error (line", "invalid character", "cannot unmarshal", "parsing field", "parsing time", "yaml:", "json:", "proto:", "grpc", "protobuf",
	"invalid value for", "unknown field", "illegal base64", "mime:", "http:", "url:", "net/", "goroutine", "runtime error", "did not find expected", "mapping values", "looking for beginning",
}

// Whatever is wrong with a request is said in our words, with the field where there is one.
func TestNoLibraryText(t *testing.T) {
	d := startOffice(t)
	check := func(x exchange, what, says string) {
		t.Helper()
		text := string(x.body)
		for _, w := range libraryWords {
			if strings.Contains(text, w) {
				t.Errorf("%s: %d says %q: %s", what, x.status, w, text)
			}
		}
		if x.status < 400 || x.status >= 500 || !strings.Contains(text, says) {
			t.Errorf("%s: %d, want a refusal that says %q: %s", what, x.status, says, text)
		}
	}
	for path, says := range map[string]string{
		"/v1/fasteners?page_size=abc": "page_size", "/v1/fasteners?page_size=99999999999": "page_size", "/v1/fasteners?min_position=1e3": "min_position", "/v1/log?moves=perhaps": "moves",
		"/v1/log?after=%00": "after", "/v1/fasteners?%zz": "RFC 3986", "/v1/fasteners?page_token=!!!": "page token", "/v1/" + carrier + "?at=time:2026": "at", "/v1/joint?x": "nothing at",
		"/v1/checks/%00": "code", "/v1/fasteners?nope=1": "allowed: at, joint", "/v1/" + carrier + "/revisions/x/proof": "",
	} {
		check(doAt(t, d.running, "GET", path, ""), path, says)
	}
	for _, c := range []struct{ path, media, body, says string }{
		{"/v1/joint:evaluate", "application/json", "", "body is empty"},
		{"/v1/joint:evaluate", "application/json", "{", "line 1, column"},
		{"/v1/joint:evaluate", "application/json", "{\n  \"thread\": M10}", "line 2, column 13"},
		{"/v1/joint:evaluate", "application/json", "[]", "body is a list; allowed: an object"},
		{"/v1/joint:evaluate", "application/json", `{"thread": 10}`, "field thread is the number 10; allowed: a text in quotes"},
		{"/v1/joint:evaluate", "application/json", `{"thraed": "M10x1.25"}`, "did you mean thread?"},
		{"/v1/joint:evaluate", "application/json", `{"thread": "M10x1.25", "thread": "M8x1.25"}`, "field thread is given twice"},
		{"/v1/joint:evaluate", "application/json", `{"flange": "yes"}`, `field flange is the text \"yes\"; allowed: true, false`},
		{"/v1/joint:evaluate", "application/json", `{"min_position": 1.5}`, "a whole number of 64 bits"},
		{"/v1/joint:evaluate", "application/json", "{\"thread\": \"\xff\"}", "not UTF-8"},
		{"/v1/joint:evaluate", "application/json", `{"thread": "M10x1.25"} x`, "line 1, column"},
		{"/v1/joint:evaluate", "application/json", `{"thread": {"a": [1, {"b": 2}]}}`, "field thread is an object"},
		{"/v1/documents:lint", "application/json", `{"documents": {}}`, "field documents is an object; allowed: a list"},
		{"/v1/documents:lint", "application/json", `{"documents": [{"texd": "x"}]}`, "field documents[0].texd is not one this address takes; allowed there: file, text; did you mean text?"},
		{"/v1/documents:lint", "application/json", `{"documents": [{"text": null}, 3]}`, "field documents[1] is the number 3"},
		{"/v1/log:watch", "application/json", `{"after": "x"}`, "field after"},
		{"/v1/log:watch", "application/json", `{"kinds": "fastener"}`, "allowed: a list"},
		{"/v1/corrections", "application/json", `{"changes": [{"record": "` + carrier + `", "merge_patch": 3}]}`, "merge_patch"},
		{"/v1/corrections", "application/json", `{"changes": [{"record": "` + carrier + `", "json_patch": {}}]}`, "json_patch"},
		{"/v1/corrections", "application/json", `{"create_time": "yesterday"}`, "is no time; write it like"},
	} {
		check(doAt(t, d.running, "POST", c.path, c.body, append(d.bearer("editor"), "Content-Type", c.media)...), c.path+" "+c.body, c.says)
	}
	why := []string{"Proofload-Reason", "a reason of the shop"}
	for _, c := range []struct{ method, media, body, says string }{
		{"PATCH", "application/merge-patch+json", "{", "patch is no JSON at line 1, column"},
		{"PATCH", "application/merge-patch+json", "[]", "a JSON object (RFC 7396)"},
		{"PATCH", "application/merge-patch+json", `{"note":"a","note":"b"}`, "the member note twice"},
		{"PATCH", "application/json-patch+json", `{}`, "a list of operations"},
		{"PATCH", "application/json-patch+json", `[{"op":"add"}]`, ""},
		{"PATCH", "application/json-patch+json", `[{"op":"test","path":"/note"}]`, ""},
		{"PUT", "application/yaml", "kind: fastener\n\tid: x", "a tab indents"},
		{"PUT", "application/yaml", "a: b: c", "put the text in quotes"},
		{"PUT", "application/yaml", "- [", ""},
		{"PUT", "application/yaml", "&a [*a]", ""},
		{"PUT", "application/json", `{"kind": "fastener",}`, ""},
		{"PUT", "application/json", `{"kind": "fastener"`, ""},
	} {
		head := doAt(t, d.running, "GET", "/v1/"+carrier+"/document", "")
		header := slices.Concat(d.bearer("editor"), why, []string{"Content-Type", c.media, "If-Match", head.header.Get("Etag")})
		check(doAt(t, d.running, c.method, "/v1/"+carrier+"/document", c.body, header...), c.method+" "+c.body, c.says)
	}
	// A body of a kind that is not taken is refused before its reason is asked for.
	if x := doAt(t, d.running, "PATCH", "/v1/"+carrier+"/document", "x", append(d.bearer("editor"), "Content-Type", "text/plain")...); x.status != 415 || x.header.Get("Accept-Patch") == "" {
		t.Errorf("PATCH of a text without a reason: %d %s", x.status, x.body)
	}
}

// Calls of browsers come as Connect and gRPC-Web over the same port, and whoever makes
// them is asked for the same tokens as everybody.
func TestCallsOfBrowsers(t *testing.T) {
	shut := start(t, "--require-token")
	token := "Bearer " + givenTokens.FindStringSubmatch(shut.greeting)[2]
	protocols := map[string][]connect.ClientOption{"Connect": nil, "Connect in JSON": {connect.WithProtoJSON()}, "gRPC-Web": {connect.WithGRPCWeb()}, "gzip": {connect.WithSendGzip()}}
	for name, options := range protocols {
		read := func(to *running, record, authorization string) (*pb.Fastener, error) {
			c := connect.NewClient[pb.GetFastenerRequest, pb.Fastener](http.DefaultClient, "http://"+to.http+pb.Specs_GetFastener_FullMethodName, options...)
			r := connect.NewRequest(&pb.GetFastenerRequest{Name: record})
			if authorization != "" {
				r.Header().Set("Authorization", authorization)
			}
			out, err := c.CallUnary(t.Context(), r)
			if err != nil {
				return nil, err
			}
			if out.Header().Get("Proofload-Position") == "" && out.Trailer().Get("Proofload-Position") == "" {
				t.Errorf("%s: no position in %v", name, out.Header())
			}
			return out.Msg, nil
		}
		if f, err := read(demoServer, carrier, ""); err != nil || f.GetTightening().GetStages()[0].Torque.AsPrinted != "62 N.m" {
			t.Errorf("%s: %v, %v", name, f, err)
		}
		_, err := read(demoServer, "fasteners/nope", "")
		if reasonOfCall(err) != "RECORD_NOT_FOUND" || connect.CodeOf(err) != connect.CodeNotFound {
			t.Errorf("%s: nothing there: %v", name, err)
		}
		if _, err = read(shut, carrier, ""); reasonOfCall(err) != "TOKEN_MISSING" {
			t.Errorf("%s without a token: %v", name, err)
		}
		if _, err = read(shut, carrier, "Bearer wrong-wrong-wrong"); reasonOfCall(err) != "TOKEN_INVALID" {
			t.Errorf("%s with a wrong token: %v", name, err)
		}
		if _, err = read(shut, carrier, token); err != nil {
			t.Errorf("%s with a token: %v", name, err)
		}
		forwarded := connect.NewClient[pb.GetFastenerRequest, pb.Fastener](forwarder{}, "http://"+demoServer.http+pb.Specs_GetFastener_FullMethodName, options...)
		if _, err = forwarded.CallUnary(t.Context(), connect.NewRequest(&pb.GetFastenerRequest{Name: carrier})); reasonOfCall(err) != "TOKEN_MISSING" {
			t.Errorf("%s, forwarded: %v", name, err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		watch, err := connect.NewClient[pb.WatchLogRequest, pb.WatchLogResponse](http.DefaultClient, "http://"+demoServer.http+pb.History_WatchLog_FullMethodName, options...).CallServerStream(ctx, connect.NewRequest(&pb.WatchLogRequest{After: new(int64)}))
		if err != nil || !watch.Receive() || watch.Msg().Event != "publication" || watch.Msg().Position != 1 {
			t.Errorf("%s: a watch: %v", name, err)
		}
		cancel()
	}
	// A name that is not ours, or is not of this machine, is not local.
	x := do(t, "POST", pb.Specs_GetFastener_FullMethodName, `{"name":"`+carrier+`"}`, "Content-Type", "application/json", "Connect-Protocol-Version", "1", "Host", "rebound.example")
	if x.status != 421 {
		t.Errorf("a call of another host: %d %s", x.status, x.body)
	}
	named := start(t, "--host", "torque.example")
	if x := doAt(t, named, "POST", pb.Specs_GetFastener_FullMethodName, `{"name":"`+carrier+`"}`, "Content-Type", "application/json", "Connect-Protocol-Version", "1", "Host", "torque.example"); x.status != 401 {
		t.Errorf("a call by a name of the shop: %d %s", x.status, x.body)
	}
	if x := do(t, "POST", pb.Specs_GetFastener_FullMethodName, `{"name":3}`, "Content-Type", "application/json", "Connect-Protocol-Version", "1"); x.status != 400 || !strings.Contains(string(x.body), "allowed: a text in quotes") {
		t.Errorf("a call that is none: %d %s", x.status, x.body)
	}
}

// forwarder sends requests as a proxy does.
type forwarder struct{}

func (forwarder) Do(r *http.Request) (*http.Response, error) {
	r.Header.Set("X-Forwarded-For", "192.0.2.7")
	return http.DefaultClient.Do(r)
}

func reasonOfCall(err error) string {
	var c *connect.Error
	if !errors.As(err, &c) {
		return ""
	}
	for _, d := range c.Details() {
		if m, err := d.Value(); err == nil {
			if info, ok := m.(*errdetails.ErrorInfo); ok {
				return info.Reason
			}
		}
	}
	return ""
}

// Pages of the origins that the operator listed may call, no others, and none with what
// a browser keeps of this server.
func TestCrossOrigin(t *testing.T) {
	listed := start(t, "--cors-origin", "https://bay.example", "--cors-origin", "http://localhost:5173")
	for _, c := range []struct {
		to      *running
		origin  string
		allowed bool
	}{{listed, "https://bay.example", true}, {listed, "http://localhost:5173", true}, {listed, "https://evil.example", false}, {listed, "https://bay.example.evil", false}, {listed, "null", false}, {demoServer, "https://bay.example", false}} {
		for _, path := range []string{"/v1/" + carrier, pb.Specs_GetFastener_FullMethodName, "/v1/" + carrier + "/document"} {
			pre := doAt(t, c.to, "OPTIONS", path, "", "Origin", c.origin, "Access-Control-Request-Method", "PATCH", "Access-Control-Request-Headers", "authorization,content-type,if-match,proofload-reason")
			want := ""
			if c.allowed {
				want = c.origin
			}
			if got := pre.header.Get("Access-Control-Allow-Origin"); got != want || pre.header.Get("Access-Control-Allow-Credentials") != "" {
				t.Errorf("preflight of %s for %s: %q", c.origin, path, got)
			}
			if c.allowed && (pre.status != 204 || !strings.Contains(pre.header.Get("Access-Control-Allow-Methods"), "PATCH") || !strings.Contains(strings.ToLower(pre.header.Get("Access-Control-Allow-Headers")), "proofload-reason")) {
				t.Errorf("preflight of %s: %d %v", c.origin, pre.status, pre.header)
			}
		}
		x := doAt(t, c.to, "GET", "/v1/"+carrier, "", "Origin", c.origin)
		if got := x.header.Get("Access-Control-Allow-Origin"); (got == c.origin) != c.allowed || c.allowed && !strings.Contains(strings.ToLower(x.header.Get("Access-Control-Expose-Headers")), "etag") {
			t.Errorf("read of %s: %v", c.origin, x.header)
		}
	}
	if x := doAt(t, listed, "OPTIONS", "/v1/"+carrier, "", "Origin", "https://bay.example", "Access-Control-Request-Method", "GET", "Host", "rebound.example"); x.status != 421 || x.header.Get("Access-Control-Allow-Origin") != "" {
		t.Errorf("a preflight by another name: %d %v", x.status, x.header)
	}
	for _, bad := range []string{"*", "https://*.example", "bay.example", "https://bay.example/", "ftp://bay.example"} {
		if _, err := parse([]string{"--cors-origin", bad}, io.Discard, func(string) (string, bool) { return "", false }); err == nil || !strings.Contains(err.Error(), "--cors-origin") {
			t.Errorf("--cors-origin %s: %v", bad, err)
		}
	}
}

// A list that is empty is there, on every address that lists.
func TestEmptyListsAreThere(t *testing.T) {
	empty := start(t, "--empty")
	for path, list := range map[string]string{"/v1/fasteners": "fasteners", "/v1/vehicles": "vehicles", "/v1/sources": "sources", "/v1/log": "entries", "/v1/releases": "releases", "/v1/corrections": "corrections", "/v1/search?query=nut": "results"} {
		x := doAt(t, empty, "GET", path, "")
		var m map[string]json.RawMessage
		if err := json.Unmarshal(x.body, &m); err != nil || string(m[list]) != "[]" {
			t.Errorf("GET %s: %d %s", path, x.status, x.body)
		}
	}
}
