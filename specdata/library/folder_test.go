package library_test

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"

	"proofload/specdata"
	"proofload/specdata/library"
)

const (
	soundSource  = "kind: source\nid: a\ntitle: A\nissuer: B\ndate: 2020-01-01\ntype: maker\nlicence: own\n"
	soundVehicle = `{"kind":"vehicle","id":"v","title":"V","make":"M","model":"O","built":{}}`
)

func folder(files ...string) fstest.MapFS {
	fsys := fstest.MapFS{}
	for i := 0; i < len(files); i += 2 {
		fsys[files[i]] = &fstest.MapFile{Data: []byte(files[i+1])}
	}
	return fsys
}

func TestReadFolder(t *testing.T) {
	m, findings, err := library.ReadFolder(folder(
		"proofload.yaml", "library: demo\ntitle: Demo\n",
		"sources/a.yaml", soundSource,
		"vehicles/v.json", soundVehicle,
		"README.md", "", "notes/x.yaml", "not: ours", ".git/config", "", "sources/README.md", "", "sources/.hidden.yaml", "x", "house.yaml", "rules: []",
	), "lib")
	if err != nil || len(findings) > 0 {
		t.Fatal(err, findings)
	}
	if m.Len() != 2 {
		t.Errorf("%d records", m.Len())
	}
	e := m.Get("sources/a")
	if got := e.Position("/title"); got != (specdata.Position{File: "lib/sources/a.yaml", Line: 3, Column: 8}) {
		t.Errorf("title stands at %v", got)
	}
	if len(e.Hash) != 64 || !strings.HasPrefix(string(e.Canonical), `{"date":`) {
		t.Errorf("entry %s %s", e.Hash, e.Canonical)
	}
}

func TestReadFolderFindings(t *testing.T) {
	for _, tt := range []struct {
		name  string
		files fstest.MapFS
		want  string // place, rule and a piece of the message
	}{
		{"document", folder("sources/a.yaml", soundSource+"x: y\n"), `lib/sources/a.yaml:8:1 schema key "x" is unknown`},
		{"not YAML", folder("sources/a.yaml", "\x00\x01"), "lib/sources/a.yaml:1:1 syntax document holds a NUL"},
		{"marker", folder("proofload.yaml", "library: demo\ntitel: A\n"), `lib/proofload.yaml:2:1 schema key "titel" is unknown here; did you mean "title"?`},
		{"other name", folder("sources/b.yaml", soundSource), "lib/sources/b.yaml:2:5 name-disagrees"},
		{"other folder", folder("vehicles/a.yaml", soundSource), "lib/vehicles/a.yaml:1:7 name-disagrees"},
		{"both forms", folder("sources/a.json", "", "sources/a.yaml", soundSource), "lib/sources/a.yaml:1:1 duplicate-record record sources/a stands in a.json and in a.yaml"},
		{"ending", folder("sources/a.yml", soundSource), "lib/sources/a.yml:1:1 stray-file file sources/a.yml is not read; allowed: <id>.yaml and <id>.json; rename it to a.yaml"},
		{"ending in capitals", folder("sources/a.JSON", soundSource), "stray-file file sources/a.JSON is not read"},
		{"folder inside", folder("sources/old/a.yaml", soundSource), "lib/sources/old:1:1 stray-file folder sources/old lies inside a collection"},
		{"singular folder", folder("source/a.yaml", soundSource), "lib/source:1:1 stray-file folder source is not read; allowed: vehicles, fasteners, assemblies, procedures, sources; rename it to sources"},
		{"misspelt folder", folder("vehicels/a.yaml", soundSource), "stray-file folder vehicels is not read"},
		{"folder in capitals", folder("Fasteners/a.yaml", soundSource), "rename it to fasteners"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, findings, err := library.ReadFolder(tt.files, "lib")
			if err != nil {
				t.Fatal(err)
			}
			var said []string
			for _, f := range findings {
				said = append(said, fmt.Sprintf("%s:%d:%d %s %s", f.File, f.Line, f.Column, f.Rule, f.Message))
				if f.Severity != specdata.Error {
					t.Errorf("severity is %s", f.Severity)
				}
			}
			if all := strings.Join(said, "\n"); !strings.Contains(all, tt.want) {
				t.Errorf("findings\n%s\nwant …%s…", all, tt.want)
			}
		})
	}
}

// What is wrong with one file does not keep the others out.
func TestReadFolderKeepsTheSound(t *testing.T) {
	m, findings, err := library.ReadFolder(folder("sources/a.yaml", soundSource, "sources/b.yaml", "kind: source\n", "vehicles/v.json", soundVehicle), "")
	if err != nil || m.Len() != 2 || len(findings) == 0 || findings[0].File != "sources/b.yaml" {
		t.Errorf("%d records, %v, %v", m.Len(), findings, err)
	}
}

// broken fails to open one file.
type broken struct {
	fstest.MapFS
	file string
}

func (b broken) Open(name string) (fs.File, error) {
	if name == b.file {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrPermission}
	}
	return b.MapFS.Open(name)
}

func (b broken) ReadFile(name string) ([]byte, error) {
	if name == b.file {
		return nil, &fs.PathError{Op: "read", Path: name, Err: fs.ErrPermission}
	}
	return b.MapFS.ReadFile(name)
}

func (b broken) ReadDir(name string) ([]fs.DirEntry, error) {
	if name == b.file {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrPermission}
	}
	return b.MapFS.ReadDir(name)
}

// A folder that cannot be read is not an empty library.
func TestReadFolderFails(t *testing.T) {
	files := folder("proofload.yaml", "library: demo\ntitle: Demo\n", "sources/a.yaml", soundSource)
	for _, file := range []string{".", "sources", "sources/a.yaml", "proofload.yaml"} {
		m, _, err := library.ReadFolder(broken{files, file}, "lib")
		if m != nil || !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), "lib") || !strings.Contains(err.Error(), "cannot be read") {
			t.Errorf("%s unreadable: library %v, error %v", file, m, err)
		}
	}
	sub, err := fs.Sub(files, "none")
	if err != nil {
		t.Fatal(err)
	}
	if m, _, err := library.ReadFolder(sub, "none"); m != nil || !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "library folder none cannot be read") {
		t.Errorf("missing folder: library %v, error %v", m, err)
	}
}
