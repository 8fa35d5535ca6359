package main

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofload/server/access"
	"proofload/server/catalog"
	judging "proofload/server/check"
	"proofload/server/desk"
	"proofload/server/feed"
	"proofload/server/rest"
	"proofload/server/rpc"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/web"
	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// serve starts the real server over the tests' library.
func serve(t *testing.T) string {
	t.Helper()
	address, _ := serveDesk(t)
	return address
}

// serveDesk is serve with a desk; it returns the tokens of Maud, who edits, Piet, who
// reviews, and Runa, who administers.
func serveDesk(t *testing.T) (address string, tokens map[string]string) {
	t.Helper()
	ctx := context.Background()
	s, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "store.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	lib, findings, err := library.ReadFolder(os.DirFS(filepath.Join("testdata", "library")), "")
	if err != nil || len(findings) > 0 {
		t.Fatal(err, findings)
	}
	p := store.Publication{Authors: []string{"Maud Ibbot"}, Reviewer: "Piet Oram", Reason: "for the test", Time: time.Now()}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			p.Changes = append(p.Changes, store.Change{Name: e.Name(), Document: e.Canonical})
		}
	}
	if _, err := s.Publish(ctx, p); err != nil {
		t.Fatal(err)
	}
	cat, err := catalog.New(ctx, s)
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	pages, err := web.New(cat, log)
	if err != nil {
		t.Fatal(err)
	}
	keys := access.NewKeys(s, time.Now)
	judge := func(ctx context.Context, lib library.Library, only []specdata.Name, old library.Library) (*judging.Report, error) {
		rep, err := lint.Run(ctx, lint.Options{Rules: rules.All, Library: lib, Only: only, Old: old, Date: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)})
		if err != nil {
			return nil, err
		}
		return &judging.Report{Findings: rep.Findings, NotChecked: rep.NotChecked}, nil
	}
	followers := feed.New(s, feed.Options{}, log)
	t.Cleanup(followers.Close)
	handler, err := rest.NewHandler(rest.Deps{
		Catalog: cat, Gate: access.NewGate(keys, access.Settings{}), Pages: pages, Log: log,
		RPC: rpc.NewServer(rpc.Deps{Catalog: cat, Check: judge, Desk: desk.New(desk.Deps{Follower: cat.Follower, Check: judge, Affected: lint.AffectedBy}), Feed: followers, Keys: keys, Log: log}),
	})
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(handler)
	t.Cleanup(server.Close)
	tokens = map[string]string{}
	for name, role := range map[string]access.Role{"Maud Ibbot": access.Editor, "Piet Oram": access.Reviewer, "Runa Estby": access.Admin} {
		secret, _, err := keys.Issue(ctx, name, []access.Role{role}, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		tokens[strings.Fields(name)[0]] = secret
	}
	return server.URL, tokens
}

func TestServersLibrary(t *testing.T) {
	address := serve(t)
	odd := filepath.Join(t.TempDir(), "odd.yaml")
	if err := os.WriteFile(odd, []byte("kind: source\nid: odd\ntitle: Odd sheet\nissuer: Tansy Works\ndate: \"2019-03-01\"\ntype: maker\nlicence: free\nconcerns: [tansy-3]\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	elsewhere := httptest.NewServer(http.NotFoundHandler())
	defer elsewhere.Close()
	tests := []struct {
		name           string
		args           []string
		code           int
		stdout, stderr string
	}{
		{"whole library", []string{"lint", "--library", address}, exitClean, "4 records: no findings", ""},
		{"a document against it", []string{"lint", "--library", address, odd}, exitFindings, "[unresolved-reference]", ""},
		{"show", []string{"show", "--library", address, "tansy-2-wheel-bolt"}, exitClean, "110 N·m (81 lbf·ft)", ""},
		{"fix", []string{"lint", "--library", address, "--fix"}, exitUsage, "", "--fix changes files; this library is on the server " + address},
		{"watch", []string{"lint", "--library", address, "--watch"}, exitUsage, "", "--watch follows a library on disk"},
		{"since", []string{"lint", "--library", address, "--since", "main"}, exitUsage, "", "--since needs a library in a git work tree"},
		{"another server", []string{"lint", "--library", elsewhere.URL}, exitBroken, "", "answers /v1/vehicles with 404 Not Found"},
		{"no server", []string{"lint", "--library", "http://127.0.0.1:1"}, exitBroken, "", "library http://127.0.0.1:1 does not answer"},
		{"no address", []string{"lint", "--library", "http://"}, exitUsage, "", "is no address of a server"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var stdout, stderr screen
			if code := run(context.Background(), testEnv(&stdout, &stderr), tt.args); code != tt.code {
				t.Errorf("exit code %d, want %d", code, tt.code)
			}
			if !strings.Contains(stdout.b.String(), tt.stdout) || !strings.Contains(stderr.b.String(), tt.stderr) {
				t.Errorf("stdout %q, stderr %q; want %q and %q", stdout.b.String(), stderr.b.String(), tt.stdout, tt.stderr)
			}
		})
	}
}

// TestTokenStaysPrivate: a token is sent encrypted or on this machine only.
func TestTokenStaysPrivate(t *testing.T) {
	var seen string
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		seen = r.Header.Get("Authorization")
		http.Error(w, "no", http.StatusForbidden)
	}))
	defer server.Close()
	var stdout, stderr screen
	e := testEnv(&stdout, &stderr)
	e.getenv = func(name string) string { return map[string]string{tokenVariable: "secret"}[name] }
	if code := run(context.Background(), e, []string{"lint", "--library", server.URL}); code != exitBroken || seen != "Bearer secret" {
		t.Errorf("exit code %d, Authorization %q", code, seen)
	}
	if code := run(context.Background(), e, []string{"lint", "--library", "http://library.example"}); code != exitUsage {
		t.Errorf("exit code %d for a token over plain HTTP, want %d", code, exitUsage)
	}
	if text := stderr.b.String(); !strings.Contains(text, "would cross the network unencrypted; use https") || strings.Contains(text, "secret") {
		t.Errorf("stderr is %q", text)
	}
}
