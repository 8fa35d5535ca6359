package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// screen is a terminal that can be read while it is written.
type screen struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

// waitFor returns what the screen shows once it holds a text, and fails the test when it never does.
func (s *screen) waitFor(t *testing.T, text string) string {
	t.Helper()
	for range 1000 {
		s.mu.Lock()
		shown := s.b.String()
		s.mu.Unlock()
		if strings.Contains(shown, text) {
			return shown
		}
		time.Sleep(10 * time.Millisecond)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	t.Fatalf("screen never showed %q:\n%s", text, s.b.String())
	return ""
}

func testEnv(stdout, stderr *screen) *env {
	return &env{
		stdin: strings.NewReader(""), stdout: stdout, stderr: stderr,
		now:    func() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) },
		getenv: func(string) string { return "" },
	}
}

func copyLibrary(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "lib")
	if err := os.CopyFS(dir, os.DirFS(filepath.Join("testdata", "library"))); err != nil {
		t.Fatal(err)
	}
	return dir
}

// TestWatch saves files in the ways editors do, in place and by renaming, and
// expects each save to show; an interruption ends the watch with exit code 0.
func TestWatch(t *testing.T) {
	dir := copyLibrary(t)
	file := filepath.Join(dir, "sources", "tansy-2-chassis.yaml")
	good, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	save := func(text string) {
		t.Helper()
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var stdout, stderr screen
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan int)
	go func() { done <- run(ctx, testEnv(&stdout, &stderr), []string{"lint", "--watch", dir}) }()

	stdout.waitFor(t, "4 records: no findings")
	save(strings.Replace(string(good), "concerns: [tansy-2]", "concerns: [tansy-3]", 1))
	stdout.waitFor(t, "[unresolved-reference]")
	save("kind: [")
	stdout.waitFor(t, "[syntax]")

	tmp := filepath.Join(dir, "sources", ".saving")
	if err := os.WriteFile(tmp, []byte(strings.Replace(string(good), "tansy-2]", "tansy-5]", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(tmp, file); err != nil {
		t.Fatal(err)
	}
	stdout.waitFor(t, "tansy-5")

	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	stdout.waitFor(t, "3 records: ")

	// A broken house rule keeps the check from running; it is shown and waited out.
	if err := os.Mkdir(filepath.Join(dir, "rules"), 0o755); err != nil {
		t.Fatal(err)
	}
	rule := filepath.Join(dir, "rules", "house-x.yaml")
	if err := os.WriteFile(rule, []byte("name: house-x\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	stderr.waitFor(t, "house rule has no title")
	if err := os.Remove(rule); err != nil {
		t.Fatal(err)
	}
	save(string(good) + "# again\n")
	stderr.waitFor(t, "watching "+dir)

	cancel()
	select {
	case code := <-done:
		if code != exitClean {
			t.Errorf("interrupted watch ends with exit code %d, want %d", code, exitClean)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("interrupted watch did not end")
	}
}

func TestWatchRefuses(t *testing.T) {
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"lint", "--watch", "--demo", "-"}, "follows a library, not standard input"},
		{[]string{"lint", "--watch", "--demo"}, "this one is the embedded demo"},
		{[]string{"lint", "--watch", "--since", "main"}, "--watch and --since do not go together"},
	} {
		var stdout, stderr screen
		t.Chdir(t.TempDir())
		if code := run(context.Background(), testEnv(&stdout, &stderr), tt.args); code != exitUsage {
			t.Errorf("%v: exit code %d, want %d", tt.args, code, exitUsage)
		}
		stderr.waitFor(t, tt.want)
	}
}

// TestReaderGone: who pipes into head still gets the verdict as the exit code.
func TestReaderGone(t *testing.T) {
	dir := copyLibrary(t)
	if err := os.WriteFile(filepath.Join(dir, "sources", "odd.yaml"), []byte("kind: ["), 0o644); err != nil {
		t.Fatal(err)
	}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	r.Close()
	for _, args := range [][]string{{"lint", dir}, {"lint", dir, "--report", "json=-"}} {
		var stderr screen
		e := testEnv(&stderr, &stderr)
		e.stdout = w
		if code := run(context.Background(), e, args); code != exitFindings {
			t.Errorf("%v: exit code %d, want %d; stderr %s", args, code, exitFindings, stderr.b.String())
		}
	}
}

// TestInterrupted: a check that was interrupted has decided nothing.
func TestInterrupted(t *testing.T) {
	var stdout, stderr screen
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if code := run(ctx, testEnv(&stdout, &stderr), []string{"lint", copyLibrary(t)}); code != exitBroken {
		t.Errorf("exit code %d, want %d", code, exitBroken)
	}
	stderr.waitFor(t, "interrupted; nothing is decided")
	if stdout.b.Len() > 0 {
		t.Errorf("an interrupted check printed a result: %s", stdout.b.String())
	}
}

// text returns what the screen shows.
func (s *screen) text() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}
