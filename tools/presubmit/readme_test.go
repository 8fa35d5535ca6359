package presubmit

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// Every console block of README.md is run, in a copy of the tree, and must print
// what stands there. A line of three dots stands for any lines. The server of the
// README's first command runs meanwhile, on free ports.
func TestReadmeCommands(t *testing.T) {
	dir := t.TempDir()
	if out, err := exec.Command("sh", "-c", "cd "+root+" && git ls-files -co --exclude-standard -z | xargs -0 cp --parents -t "+dir).CombinedOutput(); err != nil {
		t.Fatalf("tree could not be copied: %v\n%s", err, out)
	}
	http, stop := startServer(t, dir)
	defer stop()
	readme, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	fence := regexp.MustCompile("(?s)```console\n(.*?)```")
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
				t.Errorf("README.md says that\n$ %s\nprints\n%s\nit printed (%v)\n%s", c.line, strings.Join(c.want, "\n"), err, got)
			}
		}
	}
	if commands < 5 {
		t.Errorf("README.md has %d commands in console blocks; the tour is gone", commands)
	}
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

// startServer runs the server on free ports and gives its HTTP address.
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
			// Whoever follows the README saves the tokens that are shown once.
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
