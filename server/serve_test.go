package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	validation "github.com/pb33f/libopenapi-validator/config"
	openapi3 "github.com/pb33f/libopenapi/datamodel/high/v3"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"proofload/api/client"
	"proofload/api/openapi"
	"proofload/schema"
	"proofload/server/store/postgres/pgtest"
)

var update = flag.Bool("update", false, "write golden files")

// running is a server started as from the command line.
type running struct {
	http, grpc string
	// greeting is what it printed.
	greeting string
	signals  chan os.Signal
	done     chan error
}

var addresses = regexp.MustCompile(`(?s)HTTP  http://(\S+)\n  gRPC  (\S+)\n`)

// launched counts the servers of this process.
var launched atomic.Int64

// launch starts a server on free ports and waits until it is ready.
func launch(ctx context.Context, args ...string) (*running, error) {
	r := &running{signals: make(chan os.Signal, 2), done: make(chan error, 1)}
	out, in := io.Pipe()
	go func() {
		always := []string{"--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--create"}
		if !slices.Contains(args, "--empty") {
			always = append(always, "--demo")
		}
		if strings.Contains(strings.Join(args, " "), "postgres") {
			always = append(always, "--mark", filepath.Join(os.TempDir(), fmt.Sprintf("proofload-test-%d-%d.mark", os.Getpid(), launched.Add(1))))
		}
		err := run(ctx, append(always, args...), in, io.Discard, r.signals)
		in.CloseWithError(errors.Join(io.EOF, err))
		r.done <- err
	}()
	b := make([]byte, 64<<10) // it greets in one write
	n, err := out.Read(b)
	r.greeting = string(b[:n])
	m := addresses.FindStringSubmatch(r.greeting)
	if m == nil {
		return nil, fmt.Errorf("server did not become ready: %w; it printed %q", err, r.greeting)
	}
	r.http, r.grpc = m[1], m[2]
	go io.Copy(io.Discard, out)
	return r, nil
}

// start launches a server for one test, with its own store.
func start(t *testing.T, args ...string) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r, err := launch(ctx, append([]string{"--store", "sqlite:" + filepath.Join(t.TempDir(), "test.db")}, args...)...)
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cancel()
		select {
		case <-r.done:
		case <-time.After(15 * time.Second):
			t.Error("server did not stop")
		}
	})
	return r
}

// asServer is the variable of the environment that makes the test program the server.
const asServer = "PROOFLOAD_TEST_SERVER"

// demoServer is the server that every test reads from, filled as go run ./server fills it.
var demoServer *running

func TestMain(m *testing.M) {
	if os.Getenv(asServer) != "" { // a test wants a server that it can kill
		signals := make(chan os.Signal, 2)
		if err := run(context.Background(), os.Args[1:], os.Stdout, os.Stderr, signals); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	flag.Parse()
	os.Exit(func() int {
		folder, err := os.MkdirTemp("", "proofload")
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer os.RemoveAll(folder)
		ctx, cancel := context.WithCancel(context.Background())
		if demoServer, err = launch(ctx, "--store", "sqlite:"+filepath.Join(folder, "new", "demo.db")); err != nil {
			fmt.Fprintln(os.Stderr, err)
			cancel()
			return 1
		}
		code := pgtest.Main(m)
		cancel()
		if err := <-demoServer.done; err != nil {
			fmt.Fprintln(os.Stderr, "demo server:", err)
			return 1
		}
		return code
	}())
}

// closed is the committed OpenAPI document with every message closed: what it does not
// name may not be answered. Programs have to bear new fields; tests have not.
func closed() ([]byte, error) {
	var doc map[string]any
	if err := json.Unmarshal(openapi.JSON, &doc); err != nil {
		return nil, err
	}
	for _, s := range doc["components"].(map[string]any)["schemas"].(map[string]any) {
		s := s.(map[string]any)
		if s["properties"] != nil && s["additionalProperties"] == nil && s["description"] != nil && !strings.HasPrefix(s["description"].(string), "A document by itself, right or wrong") {
			s["additionalProperties"] = false
		}
	}
	return json.Marshal(doc)
}

// contract holds exchanges against the committed OpenAPI document, closed.
var contract = sync.OnceValues(func() (validator.Validator, error) {
	text, err := closed()
	if err != nil {
		return nil, err
	}
	doc, err := libopenapi.NewDocument(text)
	if err != nil {
		return nil, err
	}
	v, errs := validator.NewValidator(doc, validation.WithPathTree(noIndex{}))
	return v, errors.Join(errs...)
})

// noIndex makes the validator match paths one by one: its index of them takes
// {id}:approve for {id}.
type noIndex struct{}

func (noIndex) Lookup(string) (*openapi3.PathItem, string, bool) { return nil, "", false }

// exchange is one request and its whole answer.
type exchange struct {
	status int
	header http.Header
	body   []byte
}

// do sends a request to the demo server and holds what comes back, and what was
// sent where it was accepted, against the OpenAPI document.
func do(t *testing.T, method, path string, body string, header ...string) exchange {
	t.Helper()
	return doAt(t, demoServer, method, path, body, header...)
}

func doAt(t *testing.T, to *running, method, path string, body string, header ...string) exchange {
	t.Helper()
	x, newRequest, answer := exchanged(t, to, method, path, body, header...)
	conforms(t, newRequest, answer, x)
	return x
}

// plainly is doAt for many requests: nothing is held against the document.
func plainly(t *testing.T, to *running, method, path string, body string, header ...string) exchange {
	t.Helper()
	x, _, _ := exchanged(t, to, method, path, body, header...)
	return x
}

func exchanged(t *testing.T, to *running, method, path string, body string, header ...string) (exchange, func() *http.Request, *http.Response) {
	t.Helper()
	newRequest := func() *http.Request {
		r, err := http.NewRequestWithContext(t.Context(), method, "http://"+to.http+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i < len(header); i += 2 {
			if header[i] == "Host" {
				r.Host = header[i+1]
			}
			r.Header.Add(header[i], header[i+1])
		}
		return r
	}
	transport := &http.Transport{DisableCompression: true}
	defer transport.CloseIdleConnections()
	answer, err := transport.RoundTrip(newRequest())
	if err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	defer answer.Body.Close()
	x := exchange{status: answer.StatusCode, header: answer.Header}
	if x.body, err = io.ReadAll(answer.Body); err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	return x, newRequest, answer
}

// conforms checks an exchange against the contract. Addresses and methods that
// the document rightly does not have are left out, but their errors are problems too.
func conforms(t *testing.T, newRequest func() *http.Request, answer *http.Response, x exchange) {
	t.Helper()
	r := newRequest()
	if !strings.HasPrefix(r.URL.Path, "/v1/") && r.URL.Path != "/healthz" && r.URL.Path != "/openapi.json" && !strings.HasPrefix(r.URL.Path, "/schemas/") {
		return
	}
	if x.status >= 400 {
		var p struct {
			Status         int
			Reason, Detail string
		}
		if r.Method != http.MethodHead {
			if err := json.Unmarshal(x.body, &p); err != nil || p.Status != x.status || p.Reason == "" || p.Detail == "" || x.header.Get("Content-Type") != "application/problem+json" {
				t.Errorf("%s %s: %d is no problem details: %s %s", r.Method, r.URL, x.status, x.header.Get("Content-Type"), x.body)
			}
		}
		switch p.Reason {
		case "ROUTE_NOT_FOUND", "METHOD_NOT_ALLOWED", "HOST_UNKNOWN":
			return
		}
	}
	v, err := contract()
	if err != nil {
		t.Fatal(err)
	}
	if r.Method == http.MethodHead || r.Method == http.MethodOptions {
		return // as GET, which is tested, without a body; in no document
	}
	if x.header.Get("Content-Encoding") == "gzip" {
		z, err := gzip.NewReader(bytes.NewReader(x.body))
		if err == nil {
			x.body, err = io.ReadAll(z)
		}
		if err != nil {
			t.Errorf("%s %s: not gzip: %v", r.Method, r.URL, err)
		}
	}
	r.RequestURI = ""
	answer.Body = io.NopCloser(bytes.NewReader(x.body))
	if ok, errs := v.ValidateHttpResponse(r, answer); !ok {
		for _, e := range errs {
			t.Errorf("%s %s: answer %d is not what the OpenAPI document says: %s: %s %v", r.Method, r.URL, x.status, e.Message, e.Reason, e.SchemaValidationErrors)
		}
	}
	if x.status < 400 {
		r := newRequest()
		if why := r.Header.Get("Proofload-Reason"); why != "" { // instead of the query, which OpenAPI cannot say
			r.URL.RawQuery += "&reason=" + url.QueryEscape(why)
		}
		if ok, errs := v.ValidateHttpRequestSync(r); !ok {
			for _, e := range errs {
				t.Errorf("%s %s: request was accepted but is not what the OpenAPI document says: %s: %s", r.Method, r.URL, e.Message, e.Reason)
			}
		}
	}
}

// reason is the reason of a problem, "" for anything else.
func (x exchange) reason() string {
	var p struct{ Reason string }
	if json.Unmarshal(x.body, &p) != nil {
		return ""
	}
	return p.Reason
}

// field is a text of the answer.
func (x exchange) field(t *testing.T, name string) string {
	t.Helper()
	var m map[string]any
	if err := json.Unmarshal(x.body, &m); err != nil {
		t.Fatal(err)
	}
	s, ok := m[name].(string)
	if !ok {
		t.Fatalf("answer has no text %s: %s", name, x.body)
	}
	return s
}

func dial(t *testing.T, to *running) *client.Client {
	t.Helper()
	c, err := client.Dial(to.grpc)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func dialed(t *testing.T, to *running) *grpc.ClientConn {
	t.Helper()
	conn, err := grpc.NewClient(to.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// The document itself is OpenAPI 3.1, by the validator's own schema of it.
func TestContractIsOpenAPI(t *testing.T) {
	v, err := contract()
	if err != nil {
		t.Fatal(err)
	}
	if ok, errs := v.ValidateDocument(); !ok {
		for _, e := range errs {
			t.Errorf("%s: %s %v", e.Message, e.Reason, e.SchemaValidationErrors)
		}
	}
	if x := do(t, "GET", "/openapi.json", ""); !bytes.Equal(x.body, openapi.JSON) {
		t.Error("/openapi.json is not the committed document")
	}
	for _, k := range schema.Kinds() {
		want, err := schema.Bundle(k)
		if x := do(t, "GET", "/schemas/"+string(k)+".json", ""); err != nil || x.status != 200 || !bytes.Equal(x.body, want) {
			t.Errorf("/schemas/%s.json answers %d and is not the schema that proofload schema prints (%v)", k, x.status, err)
		}
	}
}
