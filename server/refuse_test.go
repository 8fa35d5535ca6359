package main

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"

	"proofload/api/client"
	pb "proofload/api/proofload/v1"
)

// What is refused, how, and what the refusal says.
func TestRefusals(t *testing.T) {
	const one = "/v1/fasteners/quill-1-rear-hub-nut"
	for _, c := range []struct {
		name, method, path, body string
		header                   []string
		status                   int
		reason, says             string
	}{
		{"no such record", "GET", "/v1/fasteners/quill-1-rear-hub-nutt", "", nil, 404, "RECORD_NOT_FOUND", "did you mean fasteners/quill-1-rear-hub-nut?"},
		{"no id", "GET", "/v1/fasteners/Quill%201", "", nil, 400, "INVALID_ARGUMENT", "lower-case words"},
		{"no such address", "GET", "/v1/nuts", "", nil, 404, "ROUTE_NOT_FOUND", "GET /"},
		{"no such page", "GET", "/nuts", "", nil, 404, "ROUTE_NOT_FOUND", "GET /"},
		{"slash at the end", "GET", one + "/", "", nil, 404, "ROUTE_NOT_FOUND", ""},
		{"wrong method", "DELETE", one, "", nil, 405, "METHOD_NOT_ALLOWED", "GET, HEAD"},
		{"wrong method on a verb", "GET", "/v1/documents:lint", "", nil, 405, "METHOD_NOT_ALLOWED", "POST"},
		{"nothing acceptable", "GET", one, "", []string{"Accept", "image/png"}, 406, "NOT_ACCEPTABLE", "application/json"},
		{"refused by quality", "GET", one, "", []string{"Accept", "application/json;q=0, */*"}, 406, "NOT_ACCEPTABLE", ""},
		{"nothing acceptable in a listing", "GET", "/v1/fasteners", "", []string{"Accept", "text/csv"}, 406, "NOT_ACCEPTABLE", ""},
		{"form", "POST", "/v1/joint:evaluate", "thread=M10", []string{"Content-Type", "application/x-www-form-urlencoded"}, 415, "UNSUPPORTED_MEDIA", "application/json"},
		{"no media type", "POST", "/v1/documents:lint", "kind: source", nil, 415, "UNSUPPORTED_MEDIA", "application/yaml"},
		{"compressed", "POST", "/v1/joint:evaluate", "x", []string{"Content-Type", "application/json", "Content-Encoding", "gzip"}, 415, "UNSUPPORTED_MEDIA", "gzip"},
		{"not JSON", "POST", "/v1/joint:evaluate", "{", []string{"Content-Type", "application/json"}, 400, "REQUEST_MALFORMED", "no JSON at line 1"},
		{"unknown field", "POST", "/v1/joint:evaluate", `{"thred":"M10"}`, []string{"Content-Type", "application/json"}, 400, "REQUEST_MALFORMED", "thred"},
		{"repeated field", "POST", "/v1/joint:evaluate", `{"thread":"M10","thread":"M12"}`, []string{"Content-Type", "application/json"}, 400, "REQUEST_MALFORMED", "thread"},
		{"a number for a text", "POST", "/v1/joint:evaluate", `{"torque":62}`, []string{"Content-Type", "application/json"}, 400, "REQUEST_MALFORMED", "torque"},
		{"no unit", "POST", "/v1/joint:evaluate", `{"thread":"M10","torque":"62"}`, []string{"Content-Type", "application/json"}, 400, "INVALID_ARGUMENT", "unit"},
		{"no such thread", "POST", "/v1/joint:evaluate", `{"thread":"M10.5","torque":"62 N.m"}`, []string{"Content-Type", "application/json"}, 400, "INVALID_ARGUMENT", "M10.5"},
		{"a length for a torque", "POST", "/v1/joint:evaluate", `{"thread":"M10","torque":"62 mm"}`, []string{"Content-Type", "application/json"}, 400, "INVALID_ARGUMENT", "N.m"},
		{"no documents", "POST", "/v1/documents:lint", `{}`, []string{"Content-Type", "application/json"}, 400, "INVALID_ARGUMENT", "1 to 100"},
		{"too large", "POST", "/v1/documents:lint", strings.Repeat("# ", 1<<19+1), []string{"Content-Type", "application/yaml"}, 413, "LIMIT_SIZE", "1048576"},
		{"unknown query field", "GET", one + "?att=position:1", "", nil, 400, "INVALID_ARGUMENT", "at, min_position"},
		{"query field twice", "GET", one + "?at=position:1&at=position:1", "", nil, 400, "INVALID_ARGUMENT", "once"},
		{"no moment", "GET", one + "?at=yesterday", "", nil, 400, "INVALID_ARGUMENT", "position:N"},
		{"a time that was never set", "GET", one + "?at=time:0001-01-01T00:00:00Z", "", nil, 400, "INVALID_ARGUMENT", "never set"}, // once the newest torque
		{"the same in a listing", "GET", "/v1/fasteners?at=time:0001-01-01T00:00:00Z", "", nil, 400, "INVALID_ARGUMENT", "never set"},
		{"a flag of digits", "GET", "/v1/log?moves=1", "", nil, 400, "INVALID_ARGUMENT", "neither true nor false"},
		// What an unkeyed checksum let anybody write: the first panicked, the second read as damage.
		{"a forged token", "GET", "/v1/log?page_token=KMkOSFr6vhwBMC45OTk5OTkuMQ", "", nil, 400, "PAGE_TOKEN_INVALID", ""},
		{"future", "GET", one + "?at=position:999", "", nil, 400, "POSITION_NOT_PUBLISHED", "newest is 1"},
		{"past", "GET", one + "?at=time:1999-01-01T00:00:00Z", "", nil, 404, "MOMENT_NOT_FOUND", ""},
		{"no such release", "GET", one + "?at=release:never", "", nil, 404, "MOMENT_NOT_FOUND", ""},
		{"position that never comes", "GET", one + "?min_position=999", "", nil, 503, "POSITION_AHEAD", "newest is 1"},
		{"negative page", "GET", "/v1/fasteners?page_size=-1", "", nil, 400, "INVALID_ARGUMENT", "negative"},
		{"page of letters", "GET", "/v1/fasteners?page_size=ten", "", nil, 400, "INVALID_ARGUMENT", "page_size"},
		{"made-up token", "GET", "/v1/fasteners?page_token=AAAA", "", nil, 400, "PAGE_TOKEN_INVALID", ""},
		{"no such joint kind", "GET", "/v1/fasteners?joint=glue", "", nil, 400, "INVALID_ARGUMENT", "clamp"},
		{"no such option", "GET", "/v1/vehicles/quill-1/fasteners?options=rear_brake=disk", "", nil, 400, "INVALID_ARGUMENT", `did you mean "disc"?`},
		{"no words", "GET", "/v1/search?query=", "", nil, 400, "INVALID_ARGUMENT", "query"},
		{"no such rule", "GET", "/v1/rules/torque-over-yeild", "", nil, 404, "RECORD_NOT_FOUND", "did you mean rules/torque-over-yield?"},
		{"another host", "GET", one, "", []string{"Host", "rebound.example"}, 421, "HOST_UNKNOWN", "localhost"},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := do(t, c.method, c.path, c.body, c.header...)
			if x.status != c.status || x.reason() != c.reason || !strings.Contains(string(x.body), quoteInside(c.says)) {
				t.Errorf("got %d %s, want %d %s with %q", x.status, x.body, c.status, c.reason, c.says)
			}
			if c.status == 405 && x.header.Get("Allow") == "" {
				t.Error("405 without Allow; RFC 9110 section 15.5.6 asks for it")
			}
			if x.status == 503 && x.header.Get("Retry-After") == "" {
				t.Error("503 without Retry-After")
			}
			if x.header.Get("X-Content-Type-Options") != "nosniff" || x.header.Get("Content-Security-Policy") == "" {
				t.Errorf("headers are %v", x.header)
			}
		})
	}
}

// quoteInside is text as it stands inside a JSON string.
func quoteInside(s string) string { return strings.Trim(quote(s), `"`) }

// Every address a problem names describes it.
func TestProblemsDescribeThemselves(t *testing.T) {
	x := do(t, "GET", "/problems/record-not-found", "")
	if x.status != http.StatusOK || !bytes.Contains(x.body, []byte("RECORD_NOT_FOUND")) {
		t.Errorf("%d %s", x.status, x.body)
	}
}

var hostile = flag.Int("hostile", 2000, "mixtures of hostile requests to send")

// Requests made to hurt are refused as the caller's fault, quickly, every time.
func TestHostileRequests(t *testing.T) {
	deep := strings.Repeat("[", 100_000) + strings.Repeat("]", 100_000)
	bodies := []string{
		"", "null", "[]", "{}", "true", `"x"`, deep, `{"documents":` + deep + `}`, `{"documents":[` + strings.Repeat(`{"text":"a: 1"},`, 200) + `{}]}`,
		`{"documents":[{"text":"` + strings.Repeat("a", 900_000) + `"}]}`, `{"documents":[{"text":"\ud800"}]}`, "{\"documents\":[{\"text\":\"\xff\"}]}", "\xef\xbb\xbf{}",
		`{"documents":[{"text":"kind: fastener\nid: &a [*a]\n"}]}`, `{"documents":[{"text":"a: &a [x,x]\nb: &b [*a,*a]\nc: [*b,*b]"}]}`,
		`{"documents":[{"text":"kind: fastener\ncount: 1e1000001"}]}`, `{"documents":[{"text":"{\"kind\":\"fastener\",\"count\":1e1000001}"}]}`,
		`{"documents":[{"file":"../../../etc/passwd","text":"kind: source"}]}`, `{"documents":[{"file":"` + strings.Repeat("a/", 500) + `","text":"kind: source"}]}`,
		`{"documents":[{"text":"<script>alert(1)</script>"}]}`, `{"documents":[{"text":"kind: vehicle\nid: a\u0000b"}]}`, `{"min_position":"99999999999999999999"}`,
		`{"min_position":-1,"documents":[{"text":"a: 1"}]}`, `{"documents":{"text":"x"}}`, `{"kind":` + deep + `}`, `{"kind":"fastener","kind":"vehicle"}`, "\x00\x01\x02", strings.Repeat("{", 1000),
		`{"thread":"` + strings.Repeat("M", 5000) + `"}`, `{"thread":"M10","torque":"` + strings.Repeat("9", 400) + ` N.m"}`, `{"thread":"M10","torque":"-1 N.m"}`,
		`{"thread":"M10","friction":"NaN..NaN","torque":"1 N.m"}`, `{"thread":"M10","engagement":"0 mm","grip":"0 mm","angle":"0 deg","torque":"0 N.m","drag":"0 N.m"}`,
		`{"thread":"M10","bolt":"10.9","torque":"999999999 N.m","angle":"999999999 turn","grip":"0.000000001 mm"}`, `{"fastener":"fasteners/../x"}`, `{"fastener":"vehicles/quill-1"}`,
	}
	ids := []string{
		"..", ".", "%2e%2e", "..%2f..%2fetc%2fpasswd", "a%2fb", "a%00b", "%ff", "%c3%28", "a%20b", "A", "-", "a--b", "a-", strings.Repeat("a", 81), strings.Repeat("a", 5000),
		"%F0%9F%94%A7", "a;b", "a:resolve", "*", "{id}", "a%0d%0aX-Evil:%201", "%E2%80%AE", "q%D1%83ill-1", "null", "undefined", "0", "a?at=position:1;drop", "a%252fb", "a\\b",
	}
	queries := []string{
		"at=", "at=position:", "at=position:-1", "at=position:9223372036854775808", "at=position:1e3", "at=time:", "at=time:2026-13-45T99:99:99Z", "at=time:9999-12-31T23:59:59Z", "at=time:0000-01-01T00:00:00Z",
		"at=release:", "at=release:" + strings.Repeat("r", 500), "at=release:%00", "min_position=x", "min_position=-9223372036854775808", "page_size=2147483648", "page_size=1e9", "page_size=-0",
		"page_token=" + strings.Repeat("A", 3000), "page_token=%ff", "page_token=../../x", "place=" + strings.Repeat("p", 1000), "place=%ff", "thread=%00", "vehicle=../x", "source='OR'1'='1", "joint=%3Cscript%3E",
		"options=a", "options==", "options=rear_brake=disc&options=rear_brake=drum", "built=no%20999999999999999", "built=2019-W99", "side=both", "query=%22", "query=%22*", "query=NEAR(a", "query=a%20OR%20b", "query=" + strings.Repeat("a%20", 200),
		"query=%27;%20DROP", "query=-a", "query=a:b", "query=%5E", "kind=nut", "&&&&", "=", "%zz", "at", strings.Repeat("x&", 1000), "vin=0", "vin=" + strings.Repeat("1", 17),
	}
	sent := 0
	var took, calm []time.Duration
	try := func(method, path, body string, header ...string) {
		t.Helper()
		if sent++; sent%5 == 0 { // what an honest caller meets in between
			begin := time.Now()
			if x := do(t, "GET", "/v1/fasteners/quill-1-rear-hub-nut", ""); x.status != http.StatusOK {
				t.Errorf("meanwhile an honest caller is answered %d", x.status)
			}
			calm = append(calm, time.Since(begin))
		}
		begin := time.Now()
		r, err := http.NewRequestWithContext(t.Context(), method, "http://"+demoServer.http+"/", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		// Opaque sends the address as it is written, which url.Parse might refuse or mend.
		p, q, _ := strings.Cut(path, "?")
		r.URL = &url.URL{Scheme: "http", Host: demoServer.http, Opaque: "//" + demoServer.http + p, RawQuery: q}
		for i := 0; i < len(header); i += 2 {
			r.Header.Set(header[i], header[i+1])
		}
		answer, err := http.DefaultTransport.RoundTrip(r)
		if err != nil {
			return // the client or the server refused to speak of it at all
		}
		answer.Body.Close()
		if answer.StatusCode >= 500 {
			t.Errorf("%s %.100s %.100s: %d", method, path, body, answer.StatusCode)
		}
		if !strings.HasSuffix(path, "documents:lint") { // judging a document is work, and has a budget of its own
			took = append(took, time.Since(begin))
		}
	}
	for _, b := range bodies {
		for _, path := range []string{"/v1/documents:lint", "/v1/joint:evaluate"} {
			for _, media := range []string{"application/json", "application/yaml", "text/html", "", "application/json; charset=\xff", ";;;"} {
				try("POST", path, b, "Content-Type", media)
			}
		}
	}
	for _, id := range ids {
		for _, path := range []string{"/v1/fasteners/", "/v1/vehicles/", "/v1/rules/", "/fasteners/", "/vehicles/", "/problems/", "/v1/", "/"} {
			for _, tail := range []string{"", "/document", "/uses", "/revisions", "/fasteners"} {
				try("GET", path+id+tail, "")
			}
		}
	}
	for _, q := range queries {
		for _, path := range []string{"/v1/fasteners", "/v1/fasteners/quill-1-rear-hub-nut", "/v1/fasteners:resolve", "/v1/vehicles/quill-1/fasteners", "/v1/search", "/v1/sources/quill-chassis-2018/uses", "/v1/rules", "/v1/log", "/v1/log:watch", "/v1/diff", "/v1/releases", "/diff", "/releases", "/search", "/vehicles/quill-1", "/fasteners/quill-1-rear-hub-nut", "/"} {
			try("GET", path+"?"+q, "")
			try("GET", path+"?vehicle=quill-1&title=nut&"+q, "")
		}
	}
	for _, method := range []string{"PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PROPFIND", "get", strings.Repeat("X", 200)} {
		try(method, "/v1/fasteners/quill-1-rear-hub-nut", "{}", "Content-Type", "application/json", "X-HTTP-Method-Override", "GET")
		try(method, "/v1/documents:lint", "{}", "Content-Type", "application/json")
	}
	for _, h := range [][]string{
		{"Accept", strings.Repeat("a/b,", 2000)}, {"Accept", ";q="}, {"Accept", "*/*;q=NaN"}, {"If-None-Match", strings.Repeat(`"a",`, 2000)}, {"Grpc-Timeout", "forever"}, {"Grpc-Timeout", "1n"},
		{"Grpc-Metadata-Proofload-Position", "9"}, {"Te", "trailers"}, {"Range", "bytes=0-0,0-0,0-0"}, {"X-Forwarded-Host", "evil.example"}, {"Connection", "Upgrade"}, {"Authorization", "Bearer " + strings.Repeat("x", 4000)},
	} {
		try("GET", "/v1/fasteners/quill-1-rear-hub-nut", "", h...)
		try("GET", "/v1/fasteners?page_size=2", "", h...)
	}
	// Mixtures of all of it.
	random := rand.New(rand.NewPCG(7, 8))
	pick := func(from []string) string { return from[random.IntN(len(from))] }
	methods := []string{"GET", "GET", "GET", "POST", "PATCH", "PUT", "DELETE"}
	collections := []string{"fasteners", "vehicles", "assemblies", "procedures", "sources", "rules", "releases", "corrections", "tokens", "checkpoints", "keys", "checks", "log", "diff", "search"}
	tails := []string{"", "", "/document", "/uses", "/revisions", "/revisions/1/proof", "/revisions/x", "/fasteners", "/sheet", "/growth", "/proof", "/reach", "/history", ":approve", ":resolve", ":watch"}
	names := append([]string{"quill-1-rear-hub-nut", "quill-1", "quill-1-rear-hub-bearing", "1", "newest", "ledger"}, ids...)
	media := []string{"application/json", "application/yaml", "application/merge-patch+json", "application/json-patch+json", "text/html", ""}
	for range *hostile {
		path := "/v1/" + pick(collections)
		if random.IntN(5) > 0 {
			path += "/" + pick(names)
		}
		path += pick(tails) + "?" + pick(queries)
		if random.IntN(2) == 0 {
			path += "&" + pick(queries)
		}
		try(pick(methods), path, pick(bodies), "Content-Type", pick(media), "If-Match", pick([]string{"*", `"x"`, `W/"x"`, ""}), "Last-Event-Id", pick([]string{"1", "-1", "x", ""}))
	}
	// A refusal is quick: 50 ms, or as many times as long as the machine is slow now, which
	// honest requests in between measure.
	slow, usual := ninetyNinth(took), ninetyNinth(calm)
	t.Logf("%d requests; 99 of 100 within %s, of honest ones in between within %s", sent, slow, usual)
	if most := max(50*time.Millisecond, 5*usual); slow > most {
		t.Errorf("99 of 100 hostile requests are answered within %s; allowed: %s", slow, most)
	}
	if x := do(t, "GET", "/healthz", ""); x.status != http.StatusOK {
		t.Errorf("afterwards the server says %d", x.status)
	}
	if x := do(t, "GET", "/v1/fasteners/quill-1-rear-hub-nut", ""); x.header.Get("Proofload-Position") != "1" {
		t.Errorf("afterwards the library is at position %q; nothing was to be written", x.header.Get("Proofload-Position"))
	}
}

func ninetyNinth(of []time.Duration) time.Duration {
	slices.Sort(of)
	return of[len(of)*99/100]
}

// Bytes on the wire that are no HTTP, and addresses no client library would send.
func TestHostileBytes(t *testing.T) {
	for _, raw := range []string{
		"GET /../../etc/passwd HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"GET //evil.example/v1 HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"GET /v1/fasteners/a%2fb%2f..%2fc HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"GET http://evil.example/v1/fasteners HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"GET /v1/fasteners HTTP/1.1\r\nHost: localhost\r\nHost: evil.example\r\n\r\n",
		"GET /v1/fasteners HTTP/1.1\r\n\r\n",
		"POST /v1/documents:lint HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET / HTTP/1.1\r\n\r\n",
		"POST /v1/documents:lint HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: -1\r\n\r\n",
		"POST /v1/documents:lint HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
		"GET /v1/fasteners HTTP/9.9\r\nHost: localhost\r\n\r\n",
		"GET /v1/fasteners\x00 HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
		"OPTIONS * HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
		"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + strings.Repeat("x", 40_000) + "\r\n\r\n",
	} {
		conn, err := net.Dial("tcp", demoServer.http)
		if err != nil {
			t.Fatal(err)
		}
		conn.SetDeadline(time.Now().Add(5 * time.Second))
		conn.Write([]byte(raw))
		conn.(*net.TCPConn).CloseWrite()
		answer := make([]byte, 64)
		n, _ := conn.Read(answer)
		conn.Close()
		if head := string(answer[:n]); strings.HasPrefix(head, "HTTP/1.1 5") && !strings.HasPrefix(head, "HTTP/1.1 505") { // 505: HTTP version not supported
			t.Errorf("%.60q: %q", raw, head)
		}
	}
}

// rawCodec sends bytes as they are, as a hostile client would.
type rawCodec struct{}

func (rawCodec) Name() string { return "proto" }
func (rawCodec) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(v.([]byte))}, nil
}
func (rawCodec) Unmarshal(data mem.BufferSlice, v any) error {
	*v.(*[]byte) = data.Materialize()
	return nil
}

var _ encoding.CodecV2 = rawCodec{}

// Random and broken messages over gRPC are the caller's fault, never the server's.
func TestHostileMessages(t *testing.T) {
	conn := dialed(t, demoServer)
	random := rand.New(rand.NewPCG(3, 4))
	messages := [][]byte{nil, {0}, {0xff}, bytes.Repeat([]byte{0x0a, 0x80}, 50), bytes.Repeat([]byte{0x0b}, 10_000), append([]byte{0x0a, 0x05}, "\xff\xfe\xfd\x00a"...)}
	for range 40 {
		b := make([]byte, random.IntN(200))
		for i := range b {
			b[i] = byte(random.Uint32())
		}
		messages = append(messages, b)
	}
	for _, c := range calls {
		for _, m := range messages {
			var out []byte
			err := conn.Invoke(t.Context(), "/proofload.v1."+c.method, m, &out, grpc.ForceCodecV2(rawCodec{}))
			switch status.Code(err) {
			case codes.Internal, codes.Unknown, codes.DataLoss:
				t.Errorf("%s of %x: %v", c.method, m, err)
			}
		}
	}
	// More than the limit of a message.
	c := dial(t, demoServer)
	_, err := c.Checks.LintDocuments(t.Context(), &pb.LintDocumentsRequest{Documents: []*pb.InputDocument{{Text: strings.Repeat("a", 2<<20)}}})
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("two MiB give %v", err)
	}
	_, err = c.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: "fasteners/quill-1-rear-hub-nutt"})
	if client.Reason(err) != "RECORD_NOT_FOUND" || status.Code(err) != codes.NotFound || !strings.Contains(fmt.Sprint(err), "did you mean") {
		t.Errorf("a misspelt name gives %v", err)
	}
}
