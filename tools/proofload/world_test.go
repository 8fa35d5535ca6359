package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"proofload/specdata/demo"
)

// world is a folder with the demo library, a server over a store of its own in it, and a
// shell: what somebody has who follows the documentation. Everything is the built
// programs; nothing of this process is asked.
type world struct {
	t       *testing.T
	dir     string
	address string // of the server, HOST:PORT
	grpc    string
	env     []string
	// keeps holds what outputs gave the placeholders in capitals, like JOB.
	keeps  map[string]string
	server *exec.Cmd
}

// newWorld builds the programs, copies the demo and starts the server. It writes the
// tokens that the server prints as editor.token, reviewer.token and admin.token.
func newWorld(t *testing.T) *world {
	t.Helper()
	w := &world{t: t, dir: t.TempDir(), keeps: map[string]string{}}
	bin, server := program(t), serverProgram(t)
	if err := os.CopyFS(w.dir, demo.Files); err != nil {
		t.Fatal(err)
	}
	w.server = exec.Command(server, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0")
	w.server.Dir = w.dir
	out, err := w.server.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var said screen
	w.server.Stderr = &said
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("the server said:\n%s", said.text())
		}
	})
	if err := w.server.Start(); err != nil {
		t.Fatal(err)
	}
	stuck := time.AfterFunc(time.Minute, func() { _ = w.server.Process.Kill() })
	lines := bufio.NewScanner(out)
	for lines.Scan() && lines.Text() != "Try:" {
		line := lines.Text()
		if _, a, ok := strings.Cut(line, "HTTP  http://"); ok {
			w.address = a
		}
		if _, a, ok := strings.Cut(line, "gRPC  "); ok {
			w.grpc = a
		}
		if token := regexp.MustCompile(`^  (editor|reviewer|admin) +(plt_\w+)`).FindStringSubmatch(line); token != nil {
			w.write(token[1]+".token", token[2]+"\n")
		}
	}
	stuck.Stop()
	if w.address == "" || w.grpc == "" {
		t.Fatalf("the server printed no addresses (%v)", lines.Err())
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	t.Cleanup(w.stop)
	w.env = append(os.Environ(), "PATH="+filepath.Dir(bin)+string(os.PathListSeparator)+os.Getenv("PATH"), addressVariable+"="+w.address,
		"GIT_CONFIG_NOSYSTEM=1", "GIT_AUTHOR_NAME=Maud", "GIT_AUTHOR_EMAIL=maud@tansy.example", "GIT_COMMITTER_NAME=Maud", "GIT_COMMITTER_EMAIL=maud@tansy.example")
	return w
}

var serverOnce = sync.OnceValues(func() (string, error) {
	bin := filepath.Join(buildDir, "server")
	build := exec.Command("go", "build", "-trimpath", "-o", bin, "./server")
	build.Dir = filepath.Join("..", "..")
	if out, err := build.CombinedOutput(); err != nil {
		return "", fmt.Errorf("server does not build: %w\n%s", err, out)
	}
	return bin, nil
})

// serverProgram builds the server as it ships, once for all tests, and returns its path.
func serverProgram(t *testing.T) string {
	t.Helper()
	program(t) // makes the folder
	bin, err := serverOnce()
	if err != nil {
		t.Fatal(err)
	}
	return bin
}

// stop ends the server as Ctrl-C does.
func (w *world) stop() {
	if w.server == nil {
		return
	}
	_ = w.server.Process.Signal(os.Interrupt)
	if err := w.server.Wait(); err != nil {
		w.t.Errorf("the server did not stop cleanly on Ctrl-C: %v", err)
	}
	w.server = nil
}

func (w *world) write(name, text string) {
	w.t.Helper()
	if err := os.WriteFile(filepath.Join(w.dir, name), []byte(text), 0o600); err != nil {
		w.t.Fatal(err)
	}
}

// sh runs a line as a shell does and returns what both streams show and the exit code.
// A line that is to be interrupted gets Ctrl-C once it has shown something.
func (w *world) sh(line string, interrupt bool) (string, int) {
	w.t.Helper()
	for name, is := range w.keeps {
		line = regexp.MustCompile(`\b`+name+`\b`).ReplaceAllLiteralString(line, is)
	}
	line = strings.ReplaceAll(strings.ReplaceAll(line, defaultServer, w.address), "127.0.0.1:7451", w.grpc)
	ctx, cancel := context.WithTimeout(w.t.Context(), 2*time.Minute)
	defer cancel()
	if interrupt {
		line = "exec " + line
	}
	cmd := exec.CommandContext(ctx, "sh", "-c", line)
	cmd.Dir, cmd.Env = w.dir, w.env
	var out screen
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		w.t.Fatal(err)
	}
	if interrupt {
		go func() {
			for out.text() == "" && ctx.Err() == nil {
				time.Sleep(20 * time.Millisecond)
			}
			_ = cmd.Process.Signal(syscall.SIGINT)
		}()
	}
	err := cmd.Wait()
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		return out.text(), exit.ExitCode()
	case err != nil:
		w.t.Fatalf("%s: %v", line, err)
	}
	return out.text(), 0
}

// keep takes what a placeholder stands for from an output.
func (w *world) keep(name, out, pattern string) {
	w.t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(out)
	if m == nil {
		w.t.Fatalf("nothing to put for %s (%s) in:\n%s", name, pattern, out)
	}
	w.keeps[name] = m[1]
}
