package main

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"proofload/api/client"
	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/fault"
)

// needs says which roles a method asks for; a method that stands in no row is for
// everybody who may read. The .proto files have to say the same.
var needs = map[string][]string{
	"CreateCorrection": {"editor"}, "AmendCorrection": {"editor"}, "WithdrawCorrection": {"editor"}, "RecheckCorrection": {"editor", "reviewer"},
	"ApproveCorrection": {"reviewer"}, "RejectCorrection": {"reviewer"}, "PublishCorrection": {"reviewer"}, "SignCorrection": {"editor", "reviewer"},
	"CreateRelease": {"reviewer", "admin"},
	"CreateJob":     everybody, "GetJob": everybody, "ListJobs": everybody, "RecordJob": everybody, "GetJobExport": everybody, "ListMovedJobs": everybody, "EraseJob": {"admin"},
	"CreateNarration": {"editor"}, "RemoveNarration": {"editor"}, "GetNarration": everybody, "ListNarrations": everybody,
	"CreateToken": {"admin"}, "ListTokens": {"admin"}, "RevokeToken": {"admin"},
}

// everybody has a token: jobs name people and their customers' vehicles.
var everybody = []string{"reader", "editor", "reviewer", "admin"}

// writes begin the names of methods that change something; none is for readers.
var writes = regexp.MustCompile(`^(Create|Amend|Withdraw|Recheck|Approve|Reject|Publish|Revoke|Update|Delete|Set|Add|Remove|Sign|Rotate)`)

// addressOf returns how REST calls a method, with an id for every part that varies.
func addressOf(t *testing.T, m protoreflect.MethodDescriptor) (method, path string) {
	t.Helper()
	rule := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	path = rule.GetGet()
	if method = "GET"; path == "" {
		method, path = "POST", rule.GetPost()
	}
	path = regexp.MustCompile(`\{\w+=([^}]*)\}`).ReplaceAllString(path, "$1")
	return method, strings.ReplaceAll(path, "*", "20200101-000000-000aaaaa")
}

// Every role calls every method of every service over both wires with an empty
// request: who lacks the role is told so and nothing else, who has it gets past that.
func TestRoles(t *testing.T) {
	d := startOffice(t)
	d.give(t, "reader", "Una Birk", "reader")
	for _, service := range access.Services() {
		for i := range service.Methods().Len() {
			m := service.Methods().Get(i)
			roles := needs[string(m.Name())]
			said, ok := access.NeedsOf(access.MethodName(m))
			if got := fmt.Sprint(said.Roles); !ok || got != fmt.Sprint(roles) {
				t.Errorf("%s: its .proto file says %v (%t), the table of roles %v", m.FullName(), got, ok, roles)
			}
			if roles == nil && writes.MatchString(string(m.Name())) {
				t.Errorf("%s changes something and asks for no role", m.FullName())
			}
			for _, role := range []string{"", "reader", "editor", "reviewer", "admin"} {
				var want fault.Kind
				switch {
				case roles == nil || slices.Contains(roles, role):
				case role == "":
					want = fault.TokenMissing
				default:
					want = fault.RoleRequired
				}
				for wire, e := range map[string]*fault.Error{"gRPC": d.callEmpty(t, role, m), "REST": d.sendEmpty(t, role, m)} {
					var got fault.Kind
					if e != nil && (e.Kind == fault.TokenMissing || e.Kind == fault.RoleRequired) {
						got = e.Kind
					}
					if got != want || want != "" && !strings.Contains(e.Message, strings.Join(roles, " or ")) {
						t.Errorf("%s of %s as %q: got %v, want %q naming %v", wire, m.FullName(), role, e, want, roles)
					}
				}
			}
		}
	}
}

// callEmpty calls a method over gRPC with an empty request, for a stream up to its
// first message.
func (d *office) callEmpty(t *testing.T, role string, m protoreflect.MethodDescriptor) *fault.Error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if h := d.bearer(role); h != nil {
		ctx = metadata.AppendToOutgoingContext(ctx, "authorization", h[1])
	}
	var out []byte
	var err error
	if m.IsStreamingServer() {
		var stream grpc.ClientStream
		if stream, err = d.conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, access.MethodName(m), grpc.ForceCodecV2(rawCodec{})); err == nil {
			if err = stream.SendMsg([]byte(nil)); err == nil {
				err = stream.RecvMsg(&out)
			}
		}
	} else {
		err = d.conn.Invoke(ctx, access.MethodName(m), []byte(nil), &out, grpc.ForceCodecV2(rawCodec{}))
	}
	if err == nil {
		return nil
	}
	return fault.From(err)
}

// sendEmpty calls a method over REST with an empty request; an answer that does not
// end is read up to its head.
func (d *office) sendEmpty(t *testing.T, role string, m protoreflect.MethodDescriptor) *fault.Error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	method, path := addressOf(t, m)
	var body io.Reader
	if method == "POST" {
		body = strings.NewReader("{}")
	}
	r, err := http.NewRequestWithContext(ctx, method, "http://"+d.http+path, body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	if h := d.bearer(role); h != nil {
		r.Header.Set(h[0], h[1])
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	defer answer.Body.Close()
	if answer.StatusCode < 400 {
		return nil
	}
	var p fault.Problem
	if err := json.NewDecoder(answer.Body).Decode(&p); err != nil {
		t.Fatalf("%s %s: %d %v", method, path, answer.StatusCode, err)
	}
	return &fault.Error{Kind: fault.Kind(p.Reason), Message: p.Detail}
}

// The life of a token over both wires: given, listed without its secret, used, revoked.
func TestTokens(t *testing.T) {
	d := startOffice(t)
	given := d.ask(t, "admin", "ListTokens", &pb.ListTokensRequest{}).message.(*pb.ListTokensResponse)
	if len(given.Tokens) != 3 || given.Tokens[0].Secret != "" {
		t.Errorf("a new store has the tokens %v", given)
	}
	d.refuse(t, fault.InvalidArgument, "allowed", "admin", "CreateToken", &pb.CreateTokenRequest{Token: &pb.Token{Person: "Una Birk", Roles: []string{"owner"}}})
	d.refuse(t, fault.InvalidArgument, "secret", "admin", "CreateToken", &pb.CreateTokenRequest{Token: &pb.Token{Person: "Una Birk", Roles: []string{"editor"}, Secret: "mine"}})
	d.refuse(t, fault.TokenNotFound, "", "admin", "RevokeToken", &pb.RevokeTokenRequest{Name: "tokens/000000000000"})
	d.give(t, "una", "Una Birk", "editor")
	judged := propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 1, Withdraw: true})
	judged.ValidateOnly = true
	if c := d.correction(t, "una", "CreateCorrection", judged); !slices.Equal(c.Authors, []string{"Una Birk"}) {
		t.Errorf("written by %v", c.Authors)
	}
	page := d.ask(t, "admin", "ListTokens", &pb.ListTokensRequest{PageSize: 3}).message.(*pb.ListTokensResponse)
	rest := d.ask(t, "admin", "ListTokens", &pb.ListTokensRequest{PageSize: 3, PageToken: page.NextPageToken}).message.(*pb.ListTokensResponse)
	var una *pb.Token
	for _, x := range append(page.Tokens, rest.Tokens...) {
		if x.Person == "Una Birk" {
			una = x
		}
	}
	if len(page.Tokens)+len(rest.Tokens) != 4 || una == nil || una.Secret != "" || una.RevokeTime != nil {
		t.Fatalf("tokens are %v and %v", page, rest)
	}
	gone := d.ask(t, "admin", "RevokeToken", &pb.RevokeTokenRequest{Name: una.Name})
	if gone.message.(*pb.Token).RevokeTime == nil {
		t.Errorf("revoked: %s", gone.body)
	}
	d.refuse(t, fault.TokenInvalid, "revoked", "una", "CreateCorrection", judged)
	// A token that is worthless is worthless for reading too, also where reading is open.
	for _, path := range []string{"/v1/" + carrier, "/v1/fasteners", "/"} {
		if x := doAt(t, d.running, "GET", path, "", d.bearer("una")...); x.status != 401 || !strings.Contains(x.header.Get("WWW-Authenticate"), `error="invalid_token"`) {
			t.Errorf("GET %s with a revoked token: %d %v", path, x.status, x.header)
		}
	}
	doAt(t, d.running, "GET", "/v1/"+carrier, "") // from now on it is kept ready
	c, err := client.Dial(d.grpc, client.WithToken(d.tokens["una"]))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: carrier}); client.Reason(err) != "TOKEN_INVALID" || status.Code(err) != codes.Unauthenticated {
		t.Errorf("a hot read with a revoked token: %v", err)
	}
}

// locked is a log that is read while it is written.
type locked struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *locked) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *locked) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// certificate writes a self-signed certificate for this machine and gives its files
// and the pool that trusts it.
func certificate(t *testing.T) (certFile, keyFile string, pool *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "workshop.example"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, DNSNames: []string{"workshop.example"}, BasicConstraintsValid: true, IsCA: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	certFile, keyFile = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	for file, block := range map[string]*pem.Block{certFile: {Type: "CERTIFICATE", Bytes: der}, keyFile: {Type: "PRIVATE KEY", Bytes: pkcs8}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool = x509.NewCertPool()
	pool.AddCert(parsed)
	return certFile, keyFile, pool
}

// With a certificate every address may be served, under any name, and every request
// but one for health needs a token. No token stands in the log, however much is logged.
func TestOffLoopback(t *testing.T) {
	certFile, keyFile, pool := certificate(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	log, out := &locked{}, &locked{}
	done := make(chan error, 1)
	go func() {
		done <- run(ctx, []string{"--http", "0.0.0.0:0", "--grpc", "0.0.0.0:0", "--store", "sqlite:" + filepath.Join(t.TempDir(), "open.db"), "--create", "--demo", "--verbose", "--tls-cert", certFile, "--tls-key", keyFile}, out, log, nil)
	}()
	ready := regexp.MustCompile(`(?s)HTTP  https://\S+:(\d+)\n  gRPC  \S+:(\d+)\n.*data`)
	var at []string
	for deadline := time.Now().Add(20 * time.Second); at == nil; at = ready.FindStringSubmatch(out.String()) {
		if time.Sleep(20 * time.Millisecond); time.Now().After(deadline) {
			t.Fatalf("server printed %q", out.String())
		}
	}
	tokens := givenTokens.FindAllStringSubmatch(out.String(), -1)
	if len(tokens) != 3 {
		t.Fatalf("greeting is %q", out.String())
	}
	secret := tokens[0][2]
	web := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}}
	defer web.CloseIdleConnections()
	for _, c := range []struct {
		name, method, path string
		header             []string
		status             int
	}{
		{"health", "GET", "/healthz", nil, 200},
		{"a read without a token", "GET", "/v1/" + carrier, nil, 401},
		{"a page without a token", "GET", "/", []string{"Accept", "text/html"}, 401},
		{"an address that is not there", "GET", "/nowhere", nil, 401},
		{"a read", "GET", "/v1/" + carrier, []string{"Authorization", "Bearer " + secret}, 200},
		{"a read again, kept ready", "GET", "/v1/" + carrier, []string{"Authorization", "Bearer " + secret}, 200},
		{"under another name", "GET", "/v1/" + carrier, []string{"Authorization", "Bearer " + secret, "Host", "workshop.example"}, 200},
		{"a wrong token", "GET", "/v1/" + carrier, []string{"Authorization", "Bearer " + secret[:30]}, 401},
		{"a browser", "GET", "/", []string{"Accept", "text/html", "Authorization", basicOf(secret)}, 200},
		{"a browser that would write", "DELETE", "/v1/" + carrier + "/document", []string{"Authorization", basicOf(secret)}, 401},
		{"a write", "DELETE", "/v1/" + carrier + "/document", []string{"Authorization", "Bearer " + secret}, 400},
	} {
		r, err := http.NewRequest(c.method, "https://127.0.0.1:"+at[1]+c.path, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i < len(c.header); i += 2 {
			if c.header[i] == "Host" {
				r.Host = c.header[i+1]
			}
			r.Header.Set(c.header[i], c.header[i+1])
		}
		answer, err := web.Do(r)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		body, _ := io.ReadAll(answer.Body)
		answer.Body.Close()
		if answer.StatusCode != c.status {
			t.Errorf("%s: %d %s", c.name, answer.StatusCode, body)
		}
		challenges := strings.Join(answer.Header.Values("WWW-Authenticate"), ", ")
		if (c.status == 401) != strings.Contains(challenges, "Bearer") || strings.Contains(c.name, "page") != strings.Contains(challenges, "Basic") {
			t.Errorf("%s: challenges are %q", c.name, challenges)
		}
	}
	if answer, err := http.Get("http://127.0.0.1:" + at[1] + "/v1/" + carrier); err == nil {
		body, _ := io.ReadAll(answer.Body)
		answer.Body.Close()
		if answer.StatusCode == http.StatusOK || bytes.Contains(body, []byte("torque")) {
			t.Errorf("without encryption: %d %s", answer.StatusCode, body)
		}
	}

	secure := grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{RootCAs: pool}))
	stranger, err := client.Dial("127.0.0.1:"+at[2], secure)
	if err != nil {
		t.Fatal(err)
	}
	defer stranger.Close()
	known, err := client.Dial("127.0.0.1:"+at[2], secure, client.WithToken(secret))
	if err != nil {
		t.Fatal(err)
	}
	defer known.Close()
	for range 2 { // from the store, then kept ready
		if _, err := stranger.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: carrier}); client.Reason(err) != "TOKEN_MISSING" {
			t.Errorf("a stranger reads: %v", err)
		}
		if _, err := known.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: carrier}); err != nil {
			t.Errorf("a known person reads: %v", err)
		}
	}
	conn, err := grpc.NewClient("127.0.0.1:"+at[2], secure)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := grpc_health_v1.NewHealthClient(conn).Check(t.Context(), &grpc_health_v1.HealthCheckRequest{}); err != nil {
		t.Errorf("health without a token: %v", err)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if text := log.String(); text == "" || strings.Contains(text, "plt_") || strings.Contains(text, secret[:30]) {
		t.Errorf("the log is empty or shows a token:\n%s", text)
	}
}

func basicOf(secret string) string {
	r := http.Request{Header: http.Header{}}
	r.SetBasicAuth("anybody", secret)
	return r.Header.Get("Authorization")
}

// Without a certificate, and with half of one, only loopback is served.
func TestOffLoopbackNeedsBoth(t *testing.T) {
	certFile, keyFile, _ := certificate(t)
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"--http", "0.0.0.0:0"}, "--tls-cert"},
		{[]string{"--http", "0.0.0.0:0", "--tls-cert", certFile}, "one without the other"},
		{[]string{"--tls-key", keyFile}, "one without the other"},
		{[]string{"--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0", "--tls-cert", keyFile, "--tls-key", certFile}, "cannot be used"},
		{[]string{"--tls-cert", certFile + "x", "--tls-key", keyFile}, "cannot be used"},
	} {
		err := run(t.Context(), append(c.args, "--empty", "--store", "sqlite:"+filepath.Join(t.TempDir(), "no.db")), io.Discard, io.Discard, nil)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v, want %q", c.args[:2], err, c.says)
		}
	}
}

// Tokens of a store that no server has open, for the day the last one is lost.
func TestTokenCommand(t *testing.T) {
	store := "sqlite:" + filepath.Join(t.TempDir(), "lost.db")
	if err := run(t.Context(), []string{"token", "list", "--store", store}, io.Discard, io.Discard, nil); err == nil {
		t.Error("tokens of a store that is not there are listed")
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	r, err := launch(ctx, "--empty", "--store", store)
	if err != nil {
		t.Fatal(err)
	}
	for role, name := range map[string]string{"editor": "Editor", "reviewer": "Reviewer", "admin": "Administrator"} {
		if !regexp.MustCompile(`  ` + role + ` +plt_\w+  ` + name + "\n").MatchString(r.greeting) {
			t.Errorf("an empty store gives no token to %s: %q", role, r.greeting)
		}
	}
	if err := run(t.Context(), []string{"token", "list", "--store", store}, io.Discard, io.Discard, nil); err == nil {
		t.Error("tokens of a store that a server has open are listed beside it")
	}
	cancel()
	if err := <-r.done; err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := run(t.Context(), []string{"token", "add", "--store", store, "--name", "Runa Estby", "--role", "admin,reviewer"}, &out, io.Discard, nil); err != nil {
		t.Fatal(err)
	}
	added := regexp.MustCompile(`^token ([0-9a-f]{12}) of Runa Estby, shown this once:\nplt_[a-z2-7]{32}\n$`).FindStringSubmatch(out.String())
	if added == nil {
		t.Fatalf("printed %q", out.String())
	}
	out.Reset()
	for _, args := range [][]string{{"token", "revoke", "--store", store, "--id", added[1]}, {"token", "list", "--store", store}} {
		if err := run(t.Context(), args, &out, io.Discard, nil); err != nil {
			t.Fatal(err)
		}
	}
	if s := out.String(); !regexp.MustCompile(added[1]+`  Runa Estby  \[admin reviewer\]  revoked`).MatchString(s) || strings.Contains(s, "plt_") {
		t.Errorf("list is %q", s)
	}
	for _, args := range [][]string{{"token"}, {"token", "make"}, {"token", "add", "--store", store, "--name", "x", "--role", "owner"}, {"token", "revoke", "--store", store}, {"token", "list", "more"}} {
		if err := run(t.Context(), args, io.Discard, io.Discard, nil); err == nil {
			t.Errorf("%v is carried out", args)
		}
	}
}
