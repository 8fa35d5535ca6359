package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// npmFolder returns where npm keeps the programs that judge from outside. Without one the
// test is left out, loudly, and fails in CI.
func npmFolder(t *testing.T, module string) string {
	t.Helper()
	npm, err := filepath.Abs(filepath.Join("..", "..", "testdata", "npm"))
	if err != nil {
		t.Fatal(err)
	}
	missing := ""
	if _, err := os.Stat(filepath.Join(npm, "node_modules", module)); err != nil {
		missing = module + " (npm ci --prefix testdata/npm)"
	}
	if _, err := exec.LookPath("node"); err != nil {
		missing = "node"
	}
	switch {
	case missing == "":
	case os.Getenv("CI") == "true":
		t.Fatalf("%s is missing", missing)
	default:
		t.Skipf("NOT TESTED: %s is missing", missing)
	}
	return npm
}

// TestEditor opens new records in a YAML language server, as editors do: what may stand
// at a place is offered, what a key means is explained, what is wrong is underlined.
func TestEditor(t *testing.T) {
	npm := npmFolder(t, "yaml-language-server")
	dir := filepath.Join(t.TempDir(), "shop")
	for _, args := range [][]string{
		{"new", "library", dir, "--title", "Shop"},
		{"new", "vehicle", "--library", dir, "--id", "quill-1", "--title", "Quill", "--make", "Vessary", "--model", "Quill"},
		{"new", "fastener", "--library", dir, "--vehicle", "quill-1", "--title", "Rear hub nut"},
	} {
		var out screen
		if code := run(context.Background(), testEnv(&out, &out), args); code != exitClean {
			t.Fatalf("%v: exit code %d\n%s", args, code, out.text())
		}
	}
	s := startEditor(t, filepath.Join(npm, "node_modules", "yaml-language-server", "bin", "yaml-language-server"), dir)
	file := filepath.Join(dir, "fasteners", "quill-1-rear-hub-nut.yaml")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	slip := strings.Replace(strings.Replace(string(text), "kind: fastener\n", "kind: fastener\njoint: weel\n", 1), "\ntitle:", "\ntitel:", 1)
	lines := strings.Split(slip, "\n")
	said := s.open(t, file, slip)
	for _, want := range []string{"titel", "title", "clamp"} {
		if !strings.Contains(said, want) {
			t.Errorf("diagnostics do not speak of %q:\n%s", want, said)
		}
	}
	for _, odd := range []string{"resolve", "proofload.example", "Unable to load"} {
		if strings.Contains(said, odd) {
			t.Errorf("the schema does not resolve (%q):\n%s", odd, said)
		}
	}
	at := func(key string) map[string]any {
		for i, l := range lines {
			if strings.HasPrefix(strings.TrimSpace(l), key+":") {
				return map[string]any{"line": i, "character": strings.Index(l, key) + 1}
			}
		}
		t.Fatalf("no line has the key %s", key)
		return nil
	}
	where := func(p map[string]any) map[string]any {
		return map[string]any{"textDocument": map[string]any{"uri": uri(file)}, "position": p}
	}
	for key, want := range map[string]string{"place": "place on the vehicle in shop words", "designation": "pitch is always written", "document": "Id of a source record"} {
		if got := s.call(t, "textDocument/hover", where(at(key))); !strings.Contains(got, want) {
			t.Errorf("hover over %s does not say %q: %s", key, want, got)
		}
	}
	for key, want := range map[string][]string{"joint": {"clamp", "wheel", "banjo"}, "into": {"cast-iron", "aluminium"}, "impact": {"removal-only"}} {
		p := at(key)
		p["character"] = p["character"].(int) + len(key) + 1
		got := s.call(t, "textDocument/completion", where(p))
		for _, w := range want {
			if !strings.Contains(got, `"label":"`+w+`"`) {
				t.Errorf("completion behind %s does not offer %s: %.600s", key, w, got)
			}
		}
	}
	// The schema that a server serves is the one beside the records (TestSchemas in server/rest).
	good, err := os.ReadFile(filepath.Join("testdata", "library", "fasteners", "tansy-2-wheel-bolt.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	fine := filepath.Join(dir, "fasteners", "tansy-2-wheel-bolt.yaml")
	if said := s.open(t, fine, "# yaml-language-server: $schema=../.schemas/fastener.json\n"+string(good)); said != "[]" {
		t.Errorf("a good record is underlined: %s", said)
	}
	// A year without quotes is what lint takes it for.
	sheet := filepath.Join(dir, "sources", "sheet.yaml")
	if said := s.open(t, sheet, "# yaml-language-server: $schema=../.schemas/source.json\nkind: source\nid: sheet\ntitle: Sheet\nissuer: Tansy Works\ndate: 2018\ntype: maker\nlicence: free\n"); said != "[]" {
		t.Errorf("a year is underlined: %s", said)
	}
}

func uri(file string) string {
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(file)}).String()
}

// editor speaks the Language Server Protocol (3.17) to a server over its pipes.
type editor struct {
	in    io.Writer
	id    int
	heard chan message
}

type message struct {
	ID     json.RawMessage `json:"id,omitempty"`
	Method string          `json:"method,omitempty"`
	Params json.RawMessage `json:"params,omitempty"`
	Result json.RawMessage `json:"result,omitempty"`
	Error  json.RawMessage `json:"error,omitempty"`
}

func startEditor(t *testing.T, program, root string) *editor {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "node", program, "--stdio")
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := &editor{in: in, heard: make(chan message, 100)}
	go s.listen(out)
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	s.call(t, "initialize", map[string]any{
		"processId": os.Getpid(), "rootUri": uri(root),
		"capabilities": map[string]any{"textDocument": map[string]any{"completion": map[string]any{}, "hover": map[string]any{"contentFormat": []string{"markdown"}}}, "workspace": map[string]any{"configuration": true}},
	})
	s.send(t, map[string]any{"jsonrpc": "2.0", "method": "initialized", "params": map[string]any{}})
	return s
}

func (s *editor) listen(out io.Reader) {
	defer close(s.heard)
	r := bufio.NewReader(out)
	for {
		size := 0
		for {
			l, err := r.ReadString('\n')
			if err != nil {
				return
			}
			if l = strings.TrimSpace(l); l == "" {
				break
			}
			if n, ok := strings.CutPrefix(l, "Content-Length: "); ok {
				size, _ = strconv.Atoi(n)
			}
		}
		body := make([]byte, size)
		if _, err := io.ReadFull(r, body); err != nil {
			return
		}
		var m message
		if json.Unmarshal(body, &m) == nil {
			s.heard <- m
		}
	}
}

func (s *editor) send(t *testing.T, v any) {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Fprintf(s.in, "Content-Length: %d\r\n\r\n%s", len(b), b); err != nil {
		t.Fatal(err)
	}
}

// next waits for a message that is wanted and answers what the server asks meanwhile.
func (s *editor) next(t *testing.T, wanted func(message) bool) message {
	t.Helper()
	late := time.After(time.Minute)
	for {
		select {
		case m, ok := <-s.heard:
			switch {
			case !ok:
				t.Fatal("the language server ended")
			case wanted(m):
				return m
			case m.ID != nil && m.Method != "":
				answer := any(nil)
				if m.Method == "workspace/configuration" {
					yaml := map[string]any{"validate": true, "hover": true, "completion": true, "schemaStore": map[string]any{"enable": false}}
					answer = []any{yaml, map[string]any{}, map[string]any{}, map[string]any{}, map[string]any{}, map[string]any{}}
				}
				s.send(t, map[string]any{"jsonrpc": "2.0", "id": m.ID, "result": answer})
			}
		case <-late:
			t.Fatal("the language server did not answer within a minute")
		}
	}
}

func (s *editor) call(t *testing.T, method string, params any) string {
	t.Helper()
	s.id++
	id := strconv.Itoa(s.id)
	s.send(t, map[string]any{"jsonrpc": "2.0", "id": s.id, "method": method, "params": params})
	m := s.next(t, func(m message) bool { return m.Method == "" && string(m.ID) == id })
	if m.Error != nil {
		t.Fatalf("%s: %s", method, m.Error)
	}
	return string(m.Result)
}

// open shows a file and returns what is underlined in it, as JSON.
func (s *editor) open(t *testing.T, file, text string) string {
	t.Helper()
	s.send(t, map[string]any{"jsonrpc": "2.0", "method": "textDocument/didOpen", "params": map[string]any{
		"textDocument": map[string]any{"uri": uri(file), "languageId": "yaml", "version": 1, "text": text},
	}})
	m := s.next(t, func(m message) bool {
		return m.Method == "textDocument/publishDiagnostics" && strings.Contains(string(m.Params), filepath.Base(file))
	})
	var p struct {
		Diagnostics json.RawMessage `json:"diagnostics"`
	}
	if err := json.Unmarshal(m.Params, &p); err != nil {
		t.Fatal(err)
	}
	return string(p.Diagnostics)
}
