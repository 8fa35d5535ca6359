package presubmit

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The house works without its fast paths: with the room of each deleted and the one file
// that calls it asking the slow way, the tests of what stood on it pass.
func TestWithoutFastPaths(t *testing.T) {
	for _, tt := range []struct {
		room, caller, instead string
		// speed lists tests that are about the fast path itself.
		speed string
		tests []string
	}{
		{
			"specdata/document/plain", "specdata/document/fast.go",
			"package document\n\nfunc (r *reader) fast([]byte) (*node, []Comment, bool) { return nil, nil, false }\n",
			"TestFast|Fuzz", []string{"./specdata/document"},
		},
		{
			"schema/quick", "schema/surely.go",
			"package schema\n\nimport (\n\t\"github.com/santhosh-tekuri/jsonschema/v5\"\n\n\t\"proofload/specdata\"\n)\n\n" +
				"func SurelyValid(specdata.Kind, []byte) bool { return false }\n\n" +
				"type rules map[specdata.Kind]struct{}\n\nfunc (rules) add(specdata.Kind, *jsonschema.Schema) {}\n",
			"TestFast|Fuzz", []string{"./schema", "./specdata/document"},
		},
	} {
		t.Run(tt.room, func(t *testing.T) {
			top, err := filepath.Abs("../..")
			if err != nil {
				t.Fatal(err)
			}
			stub := filepath.Join(t.TempDir(), "stub.go")
			if err := os.WriteFile(stub, []byte(tt.instead), 0o600); err != nil {
				t.Fatal(err)
			}
			replace := map[string]string{filepath.Join(top, tt.caller): stub}
			files, err := filepath.Glob(filepath.Join(top, tt.room, "*.go"))
			if err != nil || len(files) == 0 {
				t.Fatal("the room is empty", err)
			}
			for _, f := range files {
				replace[f] = "" // deleted
			}
			overlay := filepath.Join(t.TempDir(), "overlay.json")
			text, err := json.Marshal(map[string]any{"Replace": replace})
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(overlay, text, 0o600); err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command("go", append([]string{"test", "-vet=off", "-overlay", overlay, "-skip", tt.speed}, tt.tests...)...)
			cmd.Dir = top
			out, err := cmd.CombinedOutput()
			if err != nil || strings.Contains(string(out), "no tests to run") {
				t.Fatalf("%v\n%s", err, out)
			}
		})
	}
}
