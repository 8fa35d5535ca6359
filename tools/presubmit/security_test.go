package presubmit

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// A page that promises more than tests hold is worse than none: each promise names its
// tests, each test named is where the page says, and none is named without its file.
func TestSecurityPage(t *testing.T) {
	page := filepath.Join(root, "server", "SECURITY.md")
	b, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	for _, s := range securityFaults(text, filepath.Dir(page)) {
		t.Error(s)
	}
	if n := len(namedTest.FindAllString(text, -1)); n < 50 {
		t.Errorf("the page names %d tests; the pattern has gone blind", n)
	}
	for what, planted := range map[string]string{
		"no test":       "| Nothing is ever wrong. | the author's word |\n",
		"no such test":  "| A promise. | [`TestNotThere`](edge_test.go) |\n",
		"another file":  "| A promise. | [`TestTLS`](desk_test.go) |\n",
		"no such file":  "| A promise. | [`TestTLS`](gone_test.go) |\n",
		"no file named": "| A promise. | [`TestTLS`](edge_test.go), `TestRoles` |\n",
	} {
		if len(securityFaults(planted, filepath.Dir(page))) != 1 {
			t.Errorf("%s: not found in %q", what, planted)
		}
	}
	for _, file := range []string{"README.md", "server/README.md"} {
		b, err := os.ReadFile(filepath.Join(root, file))
		if err != nil || !strings.Contains(string(b), "SECURITY.md") {
			t.Errorf("%s does not lead to SECURITY.md: %v", file, err)
		}
	}
}

var (
	namedTest = regexp.MustCompile("\\[`(Test\\w+)`\\]\\(([^)]+)\\)")
	bareTest  = regexp.MustCompile(`\bTest[A-Z]\w+`)
)

// securityFaults returns what is wrong with the tests that a page in a folder names.
func securityFaults(text, folder string) (out []string) {
	for line := range strings.Lines(text) {
		named := namedTest.FindAllStringSubmatch(line, -1)
		row := strings.HasPrefix(line, "| ") && !strings.HasPrefix(line, "| ---") && !strings.HasPrefix(line, "| Promise") && !strings.HasPrefix(line, "| Item")
		if row && len(named) == 0 || bareTest.MatchString(namedTest.ReplaceAllString(line, "")) {
			out = append(out, "SECURITY.md names a promise without a test, or a test without its file: "+line)
		}
		for _, m := range named {
			source, err := os.ReadFile(filepath.Join(folder, m[2]))
			if err != nil || !strings.Contains(string(source), "\nfunc "+m[1]+"(t *testing.T)") {
				out = append(out, "SECURITY.md names "+m[1]+" in "+m[2]+", where it is not")
			}
		}
	}
	return out
}

// The server calls nobody of its own accord but the issuer that its operator named: no
// other file of it makes an HTTP client or dials.
func TestServerCallsNobody(t *testing.T) {
	calls := regexp.MustCompile(`http\.(Get\(|Post\(|PostForm\(|Head\(|Client\{|DefaultClient|DefaultTransport|Transport\{)|net\.Dial|Dialer\{|grpc\.(NewClient|Dial)`)
	found := 0
	for _, f := range trackedFiles(t) {
		if !strings.HasPrefix(f, "server/") || filepath.Ext(f) != ".go" || strings.HasSuffix(f, "_test.go") || strings.Contains(f, "test/") {
			continue
		}
		b, err := os.ReadFile(filepath.Join(root, f))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range calls.FindAllString(string(b), -1) {
			if found++; f != "server/access/identity.go" {
				t.Errorf("%s calls out by %s; an address that a request names is never fetched", f, m)
			}
		}
	}
	if found == 0 {
		t.Error("not even the issuer is called; the pattern has gone blind")
	}
}
