package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"io"
	"math/big"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"

	pb "proofload/api/proofload/v1"
	"proofload/server/fault"
)

// issuer is an OpenID Connect issuer of a test.
type issuer struct {
	*httptest.Server
	key *ecdsa.PrivateKey
}

func newIssuer(t *testing.T) *issuer {
	t.Helper()
	i := &issuer{key: newKey(t)}
	mux := http.NewServeMux()
	answer := func(v func() any) http.HandlerFunc {
		return func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			_ = json.NewEncoder(w).Encode(v())
		}
	}
	mux.HandleFunc("/.well-known/openid-configuration", answer(func() any {
		return map[string]any{"issuer": i.URL, "jwks_uri": i.URL + "/keys", "authorization_endpoint": i.URL + "/a", "token_endpoint": i.URL + "/t", "id_token_signing_alg_values_supported": []string{"ES256"}}
	}))
	mux.HandleFunc("/keys", answer(func() any {
		return jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: &i.key.PublicKey, KeyID: "one", Algorithm: "ES256", Use: "sig"}}}
	}))
	i.Server = httptest.NewServer(mux)
	t.Cleanup(i.Close)
	return i
}

func newKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// token signs claims, over those that are right.
func (i *issuer) token(t *testing.T, by *ecdsa.PrivateKey, claims map[string]any) string {
	t.Helper()
	all := map[string]any{"iss": i.URL, "aud": "torque-server", "sub": "u-17", "iat": time.Now().Unix(), "exp": time.Now().Add(time.Hour).Unix()}
	for k, v := range claims {
		all[k] = v
	}
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.ES256, Key: jose.JSONWebKey{Key: by, KeyID: "one"}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	signed, err := signer.Sign(body)
	if err != nil {
		t.Fatal(err)
	}
	text, err := signed.CompactSerialize()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func identities(t *testing.T, lines ...string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "identities")
	write(t, file, strings.Join(lines, "\n")+"\n")
	return file
}

// An ID token opens what the file of identities says and nothing else, on both wires:
// not an expired one, nor one of another issuer, for another program, signed by another,
// unsigned, or of somebody whom nobody named.
func TestIDTokens(t *testing.T) {
	i := newIssuer(t)
	r := start(t, "--require-token", "--oidc-issuer", i.URL, "--oidc-audience", "torque-server",
		"--identities", identities(t, "# the shop", "oidc u-17 = Maud Ibbot: editor", "oidc piet@workshop.example = Piet Oram: reviewer, admin"))
	conn := dialed(t, r)
	hour := func(n time.Duration) int64 { return time.Now().Add(n * time.Hour).Unix() }
	unsigned := func() string {
		parts := strings.Split(i.token(t, i.key, nil), ".")
		return "eyJhbGciOiJub25lIn0." + parts[1] + "."
	}
	for _, c := range []struct {
		name, token    string
		read, propose  bool
		administrating bool
	}{
		{"by subject", i.token(t, i.key, nil), true, true, false},
		{"by address", i.token(t, i.key, map[string]any{"sub": "u-9", "email": "piet@workshop.example", "email_verified": true}), true, false, true},
		{"address not verified", i.token(t, i.key, map[string]any{"sub": "u-9", "email": "piet@workshop.example"}), false, false, false},
		{"roles of its own", i.token(t, i.key, map[string]any{"roles": []string{"admin"}, "groups": []string{"admin"}, "name": "Piet Oram"}), true, true, false},
		{"a stranger", i.token(t, i.key, map[string]any{"sub": "u-18"}), false, false, false},
		{"expired", i.token(t, i.key, map[string]any{"exp": hour(-1)}), false, false, false},
		{"another issuer", i.token(t, i.key, map[string]any{"iss": "https://evil.example"}), false, false, false},
		{"another audience", i.token(t, i.key, map[string]any{"aud": "mail"}), false, false, false},
		{"another's signature", i.token(t, newKey(t), nil), false, false, false},
		{"unsigned", unsigned(), false, false, false},
	} {
		bearer := []string{"Authorization", "Bearer " + c.token}
		refused := func(want bool, what string, status int, reason string) {
			t.Helper()
			if ok := status < 300; ok != want {
				t.Errorf("%s: %s: %d %s", c.name, what, status, reason)
			}
			if !want && status != 401 && status != 403 {
				t.Errorf("%s: %s is refused with %d %s", c.name, what, status, reason)
			}
		}
		x := doAt(t, r, "GET", "/v1/"+carrier, "", bearer...)
		refused(c.read, "read", x.status, string(x.body))
		if !c.read && c.name != "a stranger" {
			continue // wrong tokens have a budget, and the door is the same
		}
		body := `{"changes":[{"record":"` + carrier + `","base_revision":"1","merge_patch":{"note":"cleaned before fitting"}}],"reason":"a remark for the shop"}`
		x = doAt(t, r, "POST", "/v1/corrections?validate_only=true", body, append(bearer, "Content-Type", "application/json")...)
		refused(c.propose, "propose", x.status, string(x.body))
		x = doAt(t, r, "GET", "/v1/tokens", "", bearer...)
		refused(c.administrating, "tokens", x.status, string(x.body))
		_, err := pb.NewSpecsClient(conn).GetFastener(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+c.token), &pb.GetFastenerRequest{Name: carrier})
		if (err == nil) != c.read || err != nil && fault.From(err).Kind != fault.TokenInvalid {
			t.Errorf("%s over gRPC: %v", c.name, err)
		}
	}
	// Its person is the author, by the name that the file gives.
	body := `{"changes":[{"record":"` + carrier + `","base_revision":"1","merge_patch":{"note":"cleaned before fitting"}}],"reason":"a remark for the shop"}`
	x := doAt(t, r, "POST", "/v1/corrections", body, "Authorization", "Bearer "+i.token(t, i.key, nil), "Content-Type", "application/json")
	if x.status != 201 || !strings.Contains(string(x.body), `"authors":["Maud Ibbot"]`) {
		t.Errorf("a proposal: %d %s", x.status, x.body)
	}
}

// signedBy makes a client certificate.
func signedBy(t *testing.T, caCert *x509.Certificate, ca *ecdsa.PrivateKey, cn string, names ...string) tls.Certificate {
	t.Helper()
	key := newKey(t)
	c := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: cn}, DNSNames: names, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, c, caCert, &key.PublicKey, ca)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

// A client certificate is a person where the file of identities names it, over both
// wires; without a line it is nobody, and a page of another site cannot use it.
func TestCertificatesOfPeople(t *testing.T) {
	certFile, keyFile, roots := certificate(t)
	pair, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		t.Fatal(err)
	}
	ca, err := x509.ParseCertificate(pair.Certificate[0])
	if err != nil {
		t.Fatal(err)
	}
	r, _ := startLogged(t, "--tls-cert", certFile, "--tls-key", keyFile, "--client-ca", certFile,
		"--identities", identities(t, "certificate bay-2.workshop.example = Maud Ibbot: editor", "certificate Una Birk = Una Birk: reader"))
	for _, c := range []struct {
		name          string
		cert          tls.Certificate
		read, propose int
	}{
		{"named", signedBy(t, ca, pair.PrivateKey.(*ecdsa.PrivateKey), "x", "bay-2.workshop.example"), 200, 200},
		{"by common name", signedBy(t, ca, pair.PrivateKey.(*ecdsa.PrivateKey), "Una Birk"), 200, 403},
		{"a common name beside other names", signedBy(t, ca, pair.PrivateKey.(*ecdsa.PrivateKey), "Una Birk", "bay-9.workshop.example"), 401, 401},
		{"a stranger", signedBy(t, ca, pair.PrivateKey.(*ecdsa.PrivateKey), "x", "bay-3.workshop.example"), 401, 401},
	} {
		config := &tls.Config{RootCAs: roots, Certificates: []tls.Certificate{c.cert}}
		client := &http.Client{Transport: &http.Transport{TLSClientConfig: config}}
		send := func(method, path, body string, header ...string) (int, string) {
			t.Helper()
			q, err := http.NewRequestWithContext(t.Context(), method, "https://"+r.http+path, strings.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			q.Header.Set("Content-Type", "application/json")
			for i := 0; i < len(header); i += 2 {
				q.Header.Set(header[i], header[i+1])
			}
			a, err := client.Do(q)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			defer a.Body.Close()
			text, err := io.ReadAll(a.Body)
			if err != nil {
				t.Fatal(err)
			}
			return a.StatusCode, string(text)
		}
		if status, text := send("GET", "/v1/"+carrier, ""); status != c.read {
			t.Errorf("%s reads: %d %s", c.name, status, text)
		}
		body := `{"changes":[{"record":"` + carrier + `","base_revision":"1","merge_patch":{"note":"cleaned before fitting"}}],"reason":"a remark for the shop"}`
		if status, text := send("POST", "/v1/corrections?validate_only=true", body); status != c.propose {
			t.Errorf("%s proposes: %d %s", c.name, status, text)
		}
		if status, text := send("POST", "/v1/corrections?validate_only=true", body, "Origin", "https://evil.example", "Sec-Fetch-Site", "cross-site"); status < 400 {
			t.Errorf("%s, from a page of another site: %d %s", c.name, status, text)
		}
		conn, err := grpc.NewClient(r.grpc, grpc.WithTransportCredentials(credentials.NewTLS(config)))
		if err != nil {
			t.Fatal(err)
		}
		_, err = pb.NewSpecsClient(conn).GetFastener(t.Context(), &pb.GetFastenerRequest{Name: carrier})
		if (err == nil) != (c.read == 200) {
			t.Errorf("%s over gRPC: %v", c.name, err)
		}
		conn.Close()
	}
}

// What is wrong with the file of identities is said with its line, before the server starts.
func TestIdentitiesAreRead(t *testing.T) {
	for line, says := range map[string]string{
		"certificate bay = Maud Ibbot":                                "write it like",
		"certificate = Maud Ibbot: editor":                            "is no identity",
		"certificat bay = Maud Ibbot: editor":                         "allowed: certificate, oidc",
		"oidc u = Maud Ibbot: boss":                                   `role "boss" does not exist`,
		"oidc u = Maud Ibbot: editor, editor":                         "given twice",
		"oidc u = Maud Ibbot: editor\noidc u = Piet Oram: editor":     ":2: oidc u is said twice",
		"oidc u = Maud Ibbot: editor\noidc v = maud  ibbot: reviewer": "single spaces",
		"oidc u = Maud Ibbot: editor\noidc v = MAUD IBBOT: reviewer":  "write the name the same way",
		"certificate bay = Maud Ibbot: editor":                        "without --client-ca",
		"oidc u = Maud Ibbot: editor":                                 "--oidc-issuer",
	} {
		_, err := parse([]string{"--require-token", "--identities", identities(t, strings.Split(line, "\n")...)}, io.Discard, func(string) (string, bool) { return "", false })
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q", line, err, says)
		}
	}
	for _, args := range [][]string{{"--oidc-issuer", "https://login.example"}, {"--oidc-audience", "x"}, {"--identities", "/nowhere/at/all"}} {
		if _, err := parse(args, io.Discard, func(string) (string, bool) { return "", false }); err == nil {
			t.Errorf("%v is taken", args)
		}
	}
}
