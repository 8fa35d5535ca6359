package presubmit

import (
	"bytes"
	"encoding/json"
	"flag"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the map into DEVELOPERS.md")

// Every package imports what the map lets it import.
func TestImports(t *testing.T) {
	mains := map[string]bool{}
	for _, p := range packages(t) {
		mains[own(p)] = p.Name == "main"
	}
	for _, p := range packages(t) {
		for _, c := range complaints(own(p), p.Imports, func(path string) bool { return mains[path] }) {
			t.Error(c)
		}
	}
}

// A forbidden import of each kind is found: the map is not wider than it looks.
func TestPlantedImports(t *testing.T) {
	main := func(path string) bool { return path == "server" || path == "tools/proofload" }
	for _, c := range []struct{ path, imports, says string }{
		{"specdata/wording", "proofload/specdata/library", "may import"},
		{"specdata/joint", "proofload/specdata/document", "may import"},
		{"specdata/library", "proofload/specdata/sheet", "may import"},
		{"specdata/dryrun", "proofload/specdata/draft", "may import"},
		{"specdata/whom", "proofload/specdata/sheet", "a floor above"},
		{"specdata", "proofload/schema", "nothing of ours"},
		{"schema", "proofload/specdata/document", "may import"},
		{"schema", "gopkg.in/yaml.v3", "from elsewhere"},
		{"specdata/document", "os", "not for this room"},
		{"server/desk", "proofload/server/rpc", "may import"},
		{"server/rpc", "proofload/server/rest", "a floor above"},
		{"server/rpc", "proofload/server/web", "a floor above"},
		{"server/view", "proofload/server/catalog", "may import"},
		{"server/catalog", "proofload/server/desk", "may import"},
		{"server/rest", "proofload/tools/lint", "may import"},
		{"server/store/sqlite", "proofload/server/catalog", "may import"},
		{"server/ledger/rfc6962", "proofload/server/ledger", "nothing of ours"},
		{"tools/lint/rules/torque-over-yield", "proofload/tools/lint/rules/value-in-prose", "may import"},
		{"tools/lint/rules/torque-over-yield", "proofload/tools/lint/ruletest", "may import"},
		{"tools/lint/rules/torque-over-yield", "os", "not for this room"},
		{"tools/lint", "proofload/server/store", "may import"},
		{"tools/bench", "proofload/server", "a main"},
		{"api/client", "proofload/server/fault", "may import"},
		{"elsewhere/new", "fmt", "in no room"},
	} {
		got := complaints(c.path, []string{c.imports}, main)
		if len(got) != 1 || !strings.Contains(got[0], c.says) {
			t.Errorf("%s with %s: %q, want one with %q", c.path, c.imports, got, c.says)
		}
	}
}

// No row of the map is for nothing.
func TestRoomsExist(t *testing.T) {
	lived := map[int]bool{}
	for _, p := range packages(t) {
		lived[roomOf(own(p))] = true
	}
	for i, r := range rooms {
		if !lived[i] && !strings.HasSuffix(r.path, "/...") {
			t.Errorf("no package is in the room %s; take its row out", r.path)
		}
	}
}

// The table of DEVELOPERS.md is the map that TestImports holds.
func TestMap(t *testing.T) {
	file := filepath.Join(root, "DEVELOPERS.md")
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	const begin, end = "<!-- the map: go test ./tools/presubmit -update -->\n", "<!-- end of the map -->\n"
	head, rest, found := strings.Cut(string(b), begin)
	_, tail, closed := strings.Cut(rest, end)
	if !found || !closed {
		t.Fatalf("DEVELOPERS.md has no %q and %q around the map", begin, end)
	}
	want := head + begin + Table() + end + tail
	if *update {
		if err := os.WriteFile(file, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if want != string(b) {
		t.Error("the map in DEVELOPERS.md is not that of tools/presubmit/map.go; go test ./tools/presubmit -update")
	}
}

type pkg struct {
	ImportPath string
	Name       string
	Dir        string
	Imports    []string
	GoFiles    []string
}

// own returns the path of a package below the module.
func own(p pkg) string { return strings.TrimPrefix(p.ImportPath, module) }

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
