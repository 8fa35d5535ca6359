package main

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// shop runs commands against a server of its own and writes down what a person at
// the terminal would see, without what differs from run to run.
type shop struct {
	t       *testing.T
	address string
	tokens  map[string]string
	// answer is what the person types where they are asked, "" for nobody there.
	answer string
	seen   strings.Builder
	last   string
}

var varies = []struct {
	what *regexp.Regexp
	as   string
}{
	{regexp.MustCompile(`[0-9]{8}-[0-9]{6}-[0-9]{3}[a-z2-7]{5}`), "ID"},
	{regexp.MustCompile(`plt_[a-z2-7]{32}`), "SECRET"},
	{regexp.MustCompile(`\b[0-9a-f]{12}\b`), "TOKEN"},
	{regexp.MustCompile(`on \d{4}-\d\d-\d\d\b|, \d{4}-\d\d-\d\d\b`), " DAY"},
}

// as runs a command line with a person's token and demands an exit code.
func (s *shop) as(person string, code int, args ...string) {
	s.t.Helper()
	var stdout, stderr screen
	e := testEnv(&stdout, &stderr)
	e.stdin, e.asks = strings.NewReader(s.answer), s.answer != ""
	e.getenv = func(name string) string { return map[string]string{tokenVariable: s.tokens[person]}[name] }
	got := run(context.Background(), e, append(args, "--server", strings.TrimPrefix(s.address, "http://")))
	s.last = stdout.b.String()
	out := "$ proofload " + strings.Join(quoted(args), " ") + "\n" + stdout.b.String()
	if text := stderr.b.String(); text != "" {
		out += "stderr: " + text
	}
	out += fmt.Sprintf("exit %d\n\n", got)
	out = strings.ReplaceAll(out, strings.TrimPrefix(s.address, "http://"), "HOST:PORT")
	for _, v := range varies {
		out = v.what.ReplaceAllString(out, v.as)
	}
	s.seen.WriteString(out)
	if got != code {
		s.t.Errorf("exit code is %d, want %d:\n%s", got, code, out)
	}
	for _, secret := range s.tokens {
		if strings.Contains(stderr.b.String(), secret) {
			s.t.Errorf("a token is shown: %s", stderr.b.String())
		}
	}
}

func quoted(args []string) []string {
	out := make([]string, len(args))
	for i, a := range args {
		if out[i] = a; strings.ContainsAny(a, " ()\"") || a == "" {
			out[i] = "'" + a + "'"
		}
	}
	return out
}

func (s *shop) content() string {
	s.t.Helper()
	m := regexp.MustCompile(`(?m)^  content +([0-9a-f]{64})$`).FindStringSubmatch(s.last)
	if m == nil {
		s.t.Fatalf("no content in %q", s.last)
	}
	return m[1]
}

// What a data editor and a reviewer type and see, from a slip to its mend in the
// published library.
func TestCorrectAndReview(t *testing.T) {
	s := &shop{t: t}
	s.address, s.tokens = serveDesk(t)
	const bolt = "fasteners/tansy-2-wheel-bolt"
	edited := filepath.Join(t.TempDir(), "fasteners", "tansy-2-wheel-bolt.yaml")
	if err := os.MkdirAll(filepath.Dir(edited), 0o755); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join("testdata", "library", bolt+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	write := func(old, new string) {
		if !strings.Contains(string(text), old) {
			t.Fatalf("library has no %q", old)
		}
		if err := os.WriteFile(edited, []byte(strings.ReplaceAll(string(text), old, new)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	// File names are shown from here, so that they do not differ from run to run.
	t.Chdir(filepath.Dir(filepath.Dir(edited)))
	const file = "fasteners/tansy-2-wheel-bolt.yaml"

	write("title: Wheel bolt", "title: Wheel bolt")
	s.as("Maud", exitClean, "correct", file, "--reason", "nothing, really")
	write("torque: 110 N.m", "torque: 110")
	s.as("Maud", exitFindings, "correct", file, "--reason", "typed without its unit")
	write("torque: 110 N.m", "torque: 112 N.m")
	s.as("Maud", exitFindings, "correct", file, "--reason", "sheet 4 was read again", "--dry-run")
	s.as("Maud", exitClean, "correct", "list")
	write("110 N.m", "115 N.m")
	s.as("Maud", exitFindings, "correct", file, "--reason", "sheet 4 was read again", "--evidence", "sheet 4 row 9")
	s.as("Maud", exitFindings, "correct", "amend", bolt, "--set", bolt+":/tightening/torque=115 N.m")
	s.as("Maud", exitUsage, "correct", "amend", bolt, "--set", bolt+":/tightening/stages/1/torque=115 N.m")
	s.as("Maud", exitFindings, "correct", "amend", bolt, "--set", bolt+":/tightening/stages/0/torque=115 Nm")
	s.as("Maud", exitClean, "correct", "amend", bolt, "--set", bolt+":/tightening/stages/0/also=85 lbf.ft",
		"--set", bolt+":/source/quote=115 N.m (85 lbf.ft)", "--set", bolt+":/source/read_on=2026-11-20", "--reason", "110 was read in the wrong row of sheet 4")
	s.as("", exitClean, "review", "list")
	s.as("", exitClean, "review", "show", bolt)
	content := s.content()
	s.as("", exitUsage, "review", "approve", bolt, "--content", content)
	s.as("Maud", exitUsage, "review", "approve", bolt, "--content", content)
	s.as("Piet", exitUsage, "review", "approve", bolt)
	s.as("Piet", exitBroken, "review", "approve", bolt, "--content", strings.Repeat("0", 64))
	s.as("Piet", exitUsage, "review", "approve", bolt, "--content", content[:8])
	s.as("Piet", exitBroken, "correct", "publish", bolt)
	s.answer = "n\n"
	s.as("Piet", exitClean, "review", "approve", bolt)
	s.answer = "y\n"
	s.as("Piet", exitClean, "review", "approve", bolt, "--comment", "looked it up")
	s.answer = ""
	s.as("Piet", exitClean, "correct", "recheck", bolt)
	s.as("Piet", exitClean, "correct", "publish", bolt)
	s.as("Piet", exitUsage, "correct", "publish", bolt)
	s.as("Piet", exitClean, "correct", "list", "--state", "published")

	// Against what was published before: the same field clashes, others join.
	s.as("Maud", exitBroken, "correct", "--set", bolt+":/tightening/stages/0/torque=105 N.m", "--set", bolt+":/tightening/stages/0/also=77 lbf.ft", "--base", "position:1", "--reason", "made on an old print")
	s.as("Maud", exitClean, "correct", "--set", bolt+":/count=4", "--unset", bolt+":/follow_ups", "--base", "position:1", "--reason", "four bolts on this hub", "--withdraw", "fasteners/tansy-2-caliper-bracket-bolt")
	s.as("Maud", exitClean, "correct", "amend", bolt, "--drop", "fasteners/tansy-2-caliper-bracket-bolt")
	content = s.content()
	s.as("Piet", exitUsage, "review", "reject", bolt, "--content", content)
	s.as("Piet", exitClean, "review", "reject", bolt, "--content", content[:leastContent], "--comment", "the sheet says five")
	s.as("Maud", exitClean, "correct", "--set", bolt+":/note=clean the thread", "--reason", "a remark for the shop")
	s.as("Maud", exitClean, "correct", "withdraw", bolt, "--comment", "not needed")
	s.as("Maud", exitUsage, "correct")
	s.as("Maud", exitUsage, "correct", file)
	s.as("Maud", exitUsage, "correct", "show", "nonsense")
	s.as("", exitUsage, "correct", "--set", bolt+":/note=x", "--reason", "nobody in particular")

	s.as("Maud", exitUsage, "token", "list")
	s.as("Runa", exitClean, "token", "add", "--name", "Una Birk", "--role", "editor,reviewer", "--until", "2027-06-30")
	s.tokens["Una"] = strings.TrimSpace(s.last)
	s.as("Una", exitClean, "correct", "--set", bolt+":/note=clean the thread", "--reason", "a remark for the shop", "--dry-run")
	s.as("Runa", exitUsage, "token", "add", "--name", "una birk", "--role", "editor")
	s.as("Runa", exitUsage, "token", "add", "--name", "Una Birk", "--role", "owner")

	golden := filepath.Join(home, "testdata", "correct.golden")
	if *update {
		if err := os.WriteFile(golden, []byte(s.seen.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got := s.seen.String(); got != string(want) {
		t.Errorf("the session is not that of correct.golden; look at the difference, then go test ./tools/proofload -run TestCorrectAndReview -update\n%s", firstDifference(string(want), got))
	}
}

// home is the folder of the tests, whatever folder a test goes to.
var home, _ = os.Getwd()

func firstDifference(want, got string) string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(w), len(g)) {
		if w[i] != g[i] {
			return fmt.Sprintf("line %d\nwant %s\ngot  %s", i+1, w[i], g[i])
		}
	}
	return fmt.Sprintf("%d lines, want %d", len(g), len(w))
}

// A server that stops while it is asked is asked again, under the same request id.
func TestLostAnswers(t *testing.T) {
	var ids []string
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet {
			fmt.Fprint(w, `{"name":"corrections/20261125-120000-000aaaaa","etag":"\"1\"","state":"published"}`)
			return
		}
		switch ids = append(ids, r.Header.Get("Idempotency-Key")); len(ids) {
		case 1:
			conn, _, err := w.(http.Hijacker).Hijack() // the answer gets lost
			if err == nil {
				conn.Close()
			}
		case 2:
			w.WriteHeader(http.StatusServiceUnavailable)
			fmt.Fprint(w, `{"detail":"server is stopping","reason":"DRAINING"}`)
		default:
			fmt.Fprint(w, `{"name":"corrections/20261125-120000-000aaaaa","state":"withdrawn"}`)
		}
	}))
	defer server.Close()
	var stdout, stderr screen
	e := testEnv(&stdout, &stderr)
	if code := run(t.Context(), e, []string{"correct", "withdraw", "20261125-120000-000aaaaa", "--server", server.URL}); code != exitClean {
		t.Errorf("exit code %d: %s", code, stderr.b.String())
	}
	if len(ids) != 3 || ids[0] == "" || ids[0] != ids[1] || ids[1] != ids[2] {
		t.Errorf("request ids are %q, want the same three times", ids)
	}
}

func TestServerFlags(t *testing.T) {
	file := filepath.Join(t.TempDir(), "two.token")
	if err := os.WriteFile(file, []byte("plt_a\nplt_b\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"no port", []string{"--server", "localhost"}, exitUsage, "HOST:PORT"},
		{"a token for another machine, unencrypted", []string{"--server", "http://192.0.2.1:7450"}, exitUsage, "use https"},
		{"no such token file", []string{"--token-file", "none.token"}, exitUsage, "does not exist"},
		{"two tokens", []string{"--token-file", file}, exitUsage, "does not hold one token"},
		{"nobody there", []string{"--server", "127.0.0.1:1"}, exitBroken, "does not answer"},
	} {
		var stdout, stderr screen
		e := testEnv(&stdout, &stderr)
		e.getenv = func(name string) string { return map[string]string{tokenVariable: "plt_secret"}[name] }
		begin := time.Now()
		if code := run(t.Context(), e, append([]string{"correct", "list"}, c.args...)); code != c.code || !strings.Contains(stderr.b.String(), c.says) || strings.Contains(stderr.b.String(), "plt_secret") {
			t.Errorf("%s: exit code %d, %q", c.name, code, stderr.b.String())
		}
		if took := time.Since(begin); took > 10*time.Second {
			t.Errorf("%s: took %s", c.name, took)
		}
	}
}
