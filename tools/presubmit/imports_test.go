// Package presubmit holds tests about the repository itself: who may import
// whom, what stands at the top level, what a source file may not contain.
package presubmit

import (
	"bytes"
	"encoding/json"
	"io"
	"os/exec"
	"strings"
	"testing"
)

// row says what the packages under a prefix may import of this module and from
// elsewhere. The longest prefix that matches a package decides.
type row struct {
	prefix string
	// own lists prefixes of this module's packages that may be imported.
	own []string
	// foreign lists prefixes of packages outside the standard library; nil means
	// none, and "*" any.
	foreign []string
	// not lists packages of the standard library that may not be imported.
	not    []string
	reason string
}

// The import table of DEVELOPERS.md. A package that no row covers fails the test,
// so a new room is a decision that somebody reviews.
var table = []row{
	{"proofload/api/proofload", nil, []string{"*"}, nil, "generated stubs; they know the wire and nothing else"},
	{"proofload/api/openapi", nil, nil, nil, "an embedded file"},
	{"proofload/api/client", []string{"proofload/api"}, []string{"*"}, nil, "what other programs compile against may not drag the server in"},
	{"proofload/schema", []string{"proofload/specdata"}, []string{"github.com/santhosh-tekuri/jsonschema/v5"}, []string{"net", "net/http"}, "the one place that knows the validator; kinds and units come from the domain, which knows no schema"},
	{"proofload/schema/schematest", []string{"proofload/specdata", "proofload/schema"}, []string{"pgregory.net/rapid"}, nil, "random documents for tests"},
	{"proofload/specdata", []string{"proofload/specdata"}, nil, []string{"os", "net", "net/http"}, "the domain is plain Go: anything can use it, nothing can surprise it"},
	{"proofload/specdata/document", []string{"proofload/specdata", "proofload/schema"}, []string{"go.yaml.in/yaml/v3"}, []string{"os", "net"}, "bytes to record needs the schema and a YAML reader"},
	{"proofload/specdata/sheet", []string{"proofload/specdata"}, []string{"*"}, []string{"net"}, "paper needs a PDF library"},
	{"proofload/tools/lint", []string{"proofload/specdata", "proofload/tools/lint"}, []string{"github.com/evanphx/json-patch/v5"}, []string{"os", "net"}, "the engine is pure; files and clocks belong to the command line"},
	{"proofload/tools/lint/ruletest", []string{"proofload/specdata", "proofload/tools/lint"}, []string{"golang.org/x/tools/txtar"}, []string{"net"}, "the fixture harness reads files"},
	{"proofload/tools/lint/house", []string{"proofload/specdata", "proofload/tools/lint"}, []string{"cel.dev/", "go.yaml.in/yaml/v3"}, []string{"os", "net"}, "shop rules need an expression language"},
	{"proofload/tools/lint/baseline", []string{"proofload/specdata"}, nil, []string{"net"}, "a baseline is a file of identities"},
	{"proofload/tools/lint/render", []string{"proofload/specdata", "proofload/tools/lint"}, nil, []string{"net"}, "findings to text; it writes to what it is given"},
	{"proofload/tools/lint/rules", []string{"proofload/specdata", "proofload/tools/lint", "proofload/tools/lint/rules"}, nil, []string{"os", "net", "time/tzdata"}, "the list of rules, and its generator"},
	{"proofload/tools/lint/rules/", []string{"proofload/specdata", "proofload/tools/lint!"}, nil, []string{"os", "net", "math/rand"}, "a rule is pure and knows no other rule"},
	{"proofload/tools/", []string{"proofload"}, []string{"*"}, nil, "mains wire whatever they need"},
	{"proofload/server", []string{"proofload"}, []string{"*"}, nil, "the main wires"},
	{"proofload/server/", []string{"proofload/api", "proofload/schema", "proofload/specdata", "proofload/server"}, []string{"*"}, nil, "server packages never import tools: the checker is injected, so that the rules that gate are the rules the editor ran"},
	{"proofload/server/job", []string{"proofload/specdata", "proofload/server/catalog", "proofload/server/fault", "proofload/server/store!"}, []string{"golang.org/x/mod/sumdb"}, []string{"net", "net/http"}, "a job is the dry run stepped by people; it knows the store and nothing of transports"},
	{"proofload/server/feed", []string{"proofload/specdata", "proofload/server/store", "proofload/server/fault"}, nil, nil, "watchers share one reader of the log; it knows the store and nothing of transports"},
	{"proofload/server/store/", []string{"proofload/specdata", "proofload/server/store", "proofload/server/ledger"}, []string{"*"}, nil, "a store knows records and nothing of transports"},
	{"proofload/server/store/rule", []string{"proofload/specdata", "proofload/server/ledger!", "proofload/server/store!", "proofload/server/store/index"}, nil, []string{"os", "net", "net/http"}, "what may be published is decided without an engine"},
	{"proofload/server/store/recheck", []string{"proofload/specdata", "proofload/server/ledger!", "proofload/server/store!", "proofload/server/store/index"}, []string{"golang.org/x/mod/sumdb"}, []string{"os", "net", "net/http"}, "a history is walked the same way, whoever stores it"},
	{"proofload/server/ledger", []string{"proofload/specdata"}, []string{"golang.org/x/mod/sumdb"}, []string{"os", "net", "net/http"}, "a verifier must be small enough to read"},
	{"proofload/server/ledger/rfc6962", nil, nil, []string{"os", "net", "net/http"}, "a second verifier shares no line with the first, or it proves nothing"},
	{"proofload/server/notary", []string{"proofload/specdata", "proofload/server/fault", "proofload/server/ledger!", "proofload/server/store!"}, []string{"golang.org/x/mod/sumdb"}, []string{"os", "net", "net/http"}, "whoever holds the key does nothing else"},
	{"proofload/server/audit", []string{"proofload/specdata", "proofload/server/ledger!", "proofload/server/notary", "proofload/server/store!", "proofload/server/store/recheck"}, []string{"golang.org/x/mod/sumdb"}, []string{"os", "net", "net/http"}, "an audit reads any store and changes none"},
}

// mains may not be imported by anything.
func TestImports(t *testing.T) {
	for _, p := range packages(t) {
		r, ok := rowFor(p.ImportPath)
		if !ok {
			t.Errorf("%s stands in no row of the import table; add one with its reason", p.ImportPath)
			continue
		}
		for _, imp := range p.Imports {
			switch {
			case imp == "proofload" || strings.HasPrefix(imp, "proofload/"):
				if !allowed(r.own, imp) {
					t.Errorf("%s imports %s; row %q allows %v: %s", p.ImportPath, imp, r.prefix, r.own, r.reason)
				}
				if byPath(t)[imp].Name == "main" {
					t.Errorf("%s imports %s, a main; nothing imports a main", p.ImportPath, imp)
				}
			case strings.Contains(strings.SplitN(imp, "/", 2)[0], "."):
				if !allowed(r.foreign, imp) {
					t.Errorf("%s imports %s; row %q allows outside packages %v: %s", p.ImportPath, imp, r.prefix, r.foreign, r.reason)
				}
			default:
				for _, n := range r.not {
					if imp == n {
						t.Errorf("%s imports %s, which row %q forbids: %s", p.ImportPath, imp, r.prefix, r.reason)
					}
				}
			}
			if strings.HasPrefix(p.ImportPath, "proofload/server/") && !strings.HasPrefix(p.ImportPath, "proofload/server/store/") &&
				strings.HasPrefix(imp, "proofload/server/store/") && imp != "proofload/server/store/index" {
				if isTransport(p.ImportPath) {
					t.Errorf("%s imports %s; transports never import a store implementation", p.ImportPath, imp)
				}
			}
		}
	}
}

func isTransport(path string) bool {
	for _, n := range []string{"rpc", "rest", "web"} {
		if strings.HasPrefix(path, "proofload/server/"+n) {
			return true
		}
	}
	return false
}

// rowFor finds the row with the longest prefix. A prefix ending in "/" is for
// packages below it only; one without is for the package itself and those below.
func rowFor(path string) (row, bool) {
	var best row
	found := false
	for _, r := range table {
		hit := path == r.prefix || strings.HasPrefix(path, strings.TrimSuffix(r.prefix, "/")+"/")
		if strings.HasSuffix(r.prefix, "/") && path+"/" == r.prefix {
			hit = false
		}
		if hit && (!found || len(r.prefix) > len(best.prefix)) {
			best, found = r, true
		}
	}
	return best, found
}

// allowed reports whether imp is under one of the prefixes; a prefix that ends in
// "!" allows that package and none below it.
func allowed(prefixes []string, imp string) bool {
	for _, p := range prefixes {
		if exact, only := strings.CutSuffix(p, "!"); only {
			if imp == exact {
				return true
			}
			continue
		}
		if p == "*" || imp == p || strings.HasPrefix(imp, strings.TrimSuffix(p, "/")+"/") {
			return true
		}
	}
	return false
}

type pkg struct {
	ImportPath string
	Name       string
	Dir        string
	Imports    []string
	GoFiles    []string
}

var listed []pkg

func packages(t *testing.T) []pkg {
	t.Helper()
	if listed != nil {
		return listed
	}
	cmd := exec.Command("go", "list", "-json=ImportPath,Name,Dir,Imports,GoFiles", "proofload/...")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.String())
	}
	dec := json.NewDecoder(bytes.NewReader(out))
	for {
		var p pkg
		if err := dec.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			t.Fatalf("go list answered something else than JSON: %v", err)
		}
		listed = append(listed, p)
	}
	return listed
}

func byPath(t *testing.T) map[string]pkg {
	m := map[string]pkg{}
	for _, p := range packages(t) {
		m[p.ImportPath] = p
	}
	return m
}
