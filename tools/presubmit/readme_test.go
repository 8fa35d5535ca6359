package presubmit

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// The READMEs whose commands are run, in this order, in one copy of the tree.
var readmes = []string{"README.md", "tools/README.md", "server/README.md", "specdata/README.md"}

var (
	fence   = regexp.MustCompile("(?s)```console\n(.*?)```")
	picture = regexp.MustCompile(`!\[[^\]]+\]\(([^)]+)\)`)
)

// Every console block of a README is run, in a copy of the tree, and must print what
// is written there. A line of three dots matches any lines. The server of the top
// README's first command runs meanwhile, on free ports. What the tour leaves behind
// is ignored by git and not seen by Go, so that the tests pass after it.
func TestReadmeCommands(t *testing.T) {
	dir := t.TempDir()
	if out, err := exec.Command("sh", "-c", "cd "+root+" && git ls-files -co --exclude-standard -z | xargs -0 cp --parents -t "+dir).CombinedOutput(); err != nil {
		t.Fatalf("tree could not be copied: %v\n%s", err, out)
	}
	before := filesBelow(t, dir)
	http, stop := startServer(t, dir)
	for _, name := range readmes {
		readme, err := os.ReadFile(filepath.Join(root, name))
		if err != nil {
			t.Fatal(err)
		}
		commands := 0
		for _, block := range fence.FindAllStringSubmatch(string(readme), -1) {
			for _, c := range split(block[1]) {
				commands++
				ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
				cmd := exec.CommandContext(ctx, "sh", "-c", strings.ReplaceAll(c.line, "127.0.0.1:7450", http))
				cmd.Dir = dir
				out, err := cmd.CombinedOutput()
				cancel()
				got := strings.ReplaceAll(string(out), http, "127.0.0.1:7450")
				if !matches(c.want, lines(got)) {
					t.Errorf("%s says that\n$ %s\nprints\n%s\nit printed (%v)\n%s", name, c.line, strings.Join(c.want, "\n"), err, got)
				}
			}
		}
		if commands < 1 && name != "specdata/README.md" {
			t.Errorf("%s has no command in a console block; the tour is gone", name)
		}
		for _, p := range picture.FindAllStringSubmatch(string(readme), -1) {
			if _, err := os.Stat(filepath.Join(root, filepath.Dir(name), p[1])); err != nil {
				t.Errorf("%s shows a picture that is not there: %v", name, err)
			}
		}
	}
	stop()
	var left []string
	for f := range filesBelow(t, dir) {
		if !before[f] {
			left = append(left, f)
			if filepath.Ext(f) == ".go" && !strings.HasPrefix(f, ".") {
				t.Errorf("the tour leaves %s, which Go would test", f)
			}
		}
	}
	ignored := exec.Command("git", "check-ignore", "--stdin", "--no-index")
	ignored.Dir = root
	ignored.Stdin = strings.NewReader(strings.Join(left, "\n"))
	out, _ := ignored.Output()
	for _, f := range left {
		if !slices.Contains(lines(string(out)), f) {
			t.Errorf("the tour leaves %s, which git does not ignore", f)
		}
	}
}

// filesBelow returns the files below a folder, by their path from it.
func filesBelow(t *testing.T, dir string) map[string]bool {
	t.Helper()
	files := map[string]bool{}
	if err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(dir, path)
			files[filepath.ToSlash(rel)] = true
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return files
}

type shellCommand struct {
	line string
	want []string
}

// split takes a console block apart into commands and what each prints.
func split(block string) []shellCommand {
	var out []shellCommand
	for _, l := range lines(block) {
		if c, ok := strings.CutPrefix(l, "$ "); ok {
			out = append(out, shellCommand{line: c})
		} else if len(out) > 0 {
			last := &out[len(out)-1]
			last.want = append(last.want, l)
		}
	}
	return out
}

func lines(s string) []string {
	s = strings.TrimRight(s, "\n")
	if s == "" {
		return nil
	}
	return strings.Split(s, "\n")
}

// matches compares lines, where "..." stands for any number of them.
func matches(want, got []string) bool {
	if len(want) == 0 {
		return len(got) == 0
	}
	if want[0] == "..." {
		for i := range len(got) + 1 {
			if matches(want[1:], got[i:]) {
				return true
			}
		}
		return false
	}
	return len(got) > 0 && strings.TrimRight(want[0], " ") == strings.TrimRight(got[0], " ") && matches(want[1:], got[1:])
}

// startServer runs the server on free ports and returns its HTTP address.
func startServer(t *testing.T, dir string) (http string, stop func()) {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "server")
	build := exec.Command("go", "build", "-o", bin, "./server")
	build.Dir = dir
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("server does not build: %v\n%s", err, out)
	}
	cmd := exec.Command(bin, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0")
	cmd.Dir = dir
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	found := make(chan string, 1)
	go func() {
		defer close(found)
		address := ""
		sc := bufio.NewScanner(out)
		for sc.Scan() {
			if _, a, ok := strings.Cut(sc.Text(), "HTTP  http://"); ok {
				address = a
			}
			// Anyone who follows the README saves the tokens that are shown once.
			if token := regexp.MustCompile(`^  (editor|reviewer|admin) +(plt_\w+)`).FindStringSubmatch(sc.Text()); token != nil {
				if err := os.WriteFile(filepath.Join(dir, token[1]+".token"), []byte(token[2]+"\n"), 0o600); err != nil {
					return
				}
			}
			if sc.Text() == "Try:" {
				found <- address
			}
		}
	}()
	stop = func() {
		_ = cmd.Process.Signal(os.Interrupt)
		if err := cmd.Wait(); err != nil {
			t.Errorf("server did not stop cleanly on Ctrl-C: %v", err)
		}
	}
	select {
	case http = <-found:
	case <-time.After(2 * time.Minute):
	}
	if http == "" {
		_ = cmd.Process.Kill()
		t.Fatal("server printed no address")
	}
	return http, stop
}
