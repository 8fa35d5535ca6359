package main

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
)

// TestAsking runs the built program on a pseudo-terminal and types what it asks for.
func TestAsking(t *testing.T) {
	bin, dir := program(t), t.TempDir()
	for _, c := range []struct {
		name, typed string
		args        []string
		code        int
		// asked are the questions, in order; file holds the lines of what was written.
		asked []string
		file  string
		holds string
	}{
		{"library", "River Street workshop\n", []string{"new", "library", "shop"}, 0,
			[]string{"Name of the library for people: "}, "shop/proofload.yaml", "title: River Street workshop\n"},
		{"source, with an answer left empty", "Quill chassis data\n\n   \nVessary Motor Works\n", []string{"new", "source", "--library", "shop"}, 0,
			[]string{"Title of the document as printed, like \"Quill chassis data\": ", "Who issued it: ", "Who issued it: ", "Who issued it: "}, "shop/sources/quill-chassis-data.yaml", "issuer: Vessary Motor Works\n"},
		{"vehicle, one answer by flag", "Vessary Quill 1.4\nQuill\n", []string{"new", "vehicle", "--library", "shop", "--id", "quill-1", "--make", "Vessary"}, 0,
			[]string{"Name of the vehicle, like \"Vessary Quill 1.4\": ", "What it is called: "}, "shop/vehicles/quill-1.yaml", "make: Vessary\nmodel: Quill\n"},
		{"fastener", "Rear hub nut\nquill-1\n", []string{"new", "fastener", "--library", "shop"}, 0,
			[]string{"Name of the fastener in shop words, like \"Rear hub nut\": ", "Id of the vehicle that it is for: "}, "shop/fasteners/quill-1-rear-hub-nut.yaml", "  - vehicle: quill-1\n"},
		{"fastener of a vehicle that is not there", "Hub nut\nquil-1\n", []string{"new", "fastener", "--library", "shop"}, 2,
			[]string{"(did you mean \"quill-1\"?)"}, "", ""},
		{"end of input", "Rear hub\n\x04", []string{"new", "assembly", "--library", "shop"}, 2,
			[]string{"Name of the assembly", "Id of the vehicle", "nothing was written"}, "", ""},
		{"all given", "", []string{"new", "procedure", "--library", "shop", "--vehicle", "quill-1", "--title", "Rear hub bearing"}, 0,
			[]string{"12 todo comments"}, "shop/procedures/quill-1-rear-hub-bearing.yaml", "title: Rear hub bearing\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := len(filesOf(t, dir))
			cmd := exec.Command(bin, c.args...)
			cmd.Dir = dir
			terminal, err := pty.Start(cmd)
			if err != nil {
				t.Fatal(err)
			}
			defer terminal.Close()
			if _, err := io.WriteString(terminal, c.typed); err != nil {
				t.Fatal(err)
			}
			stuck := time.AfterFunc(time.Minute, func() { _ = cmd.Process.Kill() })
			defer stuck.Stop()
			seen, _ := io.ReadAll(terminal) // ends with EIO when the program has closed the terminal
			code := 0
			var exit *exec.ExitError
			if err := cmd.Wait(); errors.As(err, &exit) {
				code = exit.ExitCode()
			} else if err != nil {
				t.Fatal(err)
			}
			if code != c.code {
				t.Errorf("exit code %d, want %d:\n%s", code, c.code, seen)
			}
			rest := string(seen)
			for _, q := range c.asked {
				_, behind, ok := strings.Cut(rest, q)
				if !ok {
					t.Fatalf("the terminal does not show %q where it should:\n%s", q, seen)
				}
				rest = behind
			}
			if c.file == "" {
				if now := len(filesOf(t, dir)); now != before {
					t.Errorf("%d files, want %d: something was written", now, before)
				}
				return
			}
			text, err := os.ReadFile(filepath.Join(dir, c.file))
			if err != nil || !strings.Contains(string(text), c.holds) {
				t.Errorf("%s does not hold %q (%v):\n%s", c.file, c.holds, err, text)
			}
		})
	}
}

// filesOf lists the files below a folder.
func filesOf(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	if err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			out = append(out, path)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return out
}
