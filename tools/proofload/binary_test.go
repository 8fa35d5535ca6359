package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// built builds both programs once, as users run them.
var built = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "proofload-built-*")
	if err != nil {
		return "", err
	}
	for name, pkg := range map[string]string{"proofload": ".", "server": "../../server"} {
		if out, err := exec.Command("go", "build", "-trimpath", "-o", filepath.Join(dir, name), pkg).CombinedOutput(); err != nil {
			return "", errors.New(string(out))
		}
	}
	return dir, nil
})

// works is a server and a command line as users run them: built programs in a folder.
type works struct {
	t           *testing.T
	bin, dir    string
	address     string
	tokens      map[string]string
	server      *exec.Cmd
	serverEnded chan error
}

func newWorks(t *testing.T) *works {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return &works{t: t, bin: bin, dir: t.TempDir(), tokens: map[string]string{}}
}

var (
	greetedAt = regexp.MustCompile(`HTTP  http://(\S+)`)
	greetedBy = regexp.MustCompile(`(?m)^  (editor|reviewer|admin) +(plt_[a-z2-7]{32})  (\S.*)$`)
)

// serve starts the server on a store and waits for its greeting.
func (w *works) serve(store string, flags ...string) {
	w.t.Helper()
	w.server = exec.Command(filepath.Join(w.bin, "server"), append([]string{"--store", "sqlite:" + store, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, flags...)...)
	w.server.Dir = w.dir
	out, err := w.server.StdoutPipe()
	if err != nil {
		w.t.Fatal(err)
	}
	var errs strings.Builder
	w.server.Stderr = &errs
	if err := w.server.Start(); err != nil {
		w.t.Fatal(err)
	}
	server := w.server
	lines, ready := bufio.NewReader(out), make(chan string, 1)
	go func() {
		text := ""
		for {
			line, err := lines.ReadString('\n')
			if text += line; err != nil || strings.Contains(line, "documents:lint") {
				ready <- text
				break
			}
		}
		io.Copy(io.Discard, lines)
	}()
	var text string
	select {
	case text = <-ready:
	case <-time.After(2 * time.Minute):
		text = "no greeting"
	}
	m := greetedAt.FindStringSubmatch(text)
	if m == nil {
		w.t.Fatalf("server greets with %q\n%s", text, errs.String())
	}
	w.address = m[1]
	for _, m := range greetedBy.FindAllStringSubmatch(text, -1) {
		w.tokens[m[1]] = m[2]
	}
	w.serverEnded = make(chan error, 1)
	go func(c chan error) { c <- server.Wait() }(w.serverEnded)
	w.t.Cleanup(func() { server.Process.Kill() })
}

// stop ends the server as an operator does.
func (w *works) stop() {
	w.t.Helper()
	if err := w.server.Process.Signal(syscall.SIGTERM); err != nil {
		w.t.Fatal(err)
	}
	select {
	case err := <-w.serverEnded:
		if err != nil {
			w.t.Fatalf("server ends with %v", err)
		}
	case <-time.After(time.Minute):
		w.t.Fatal("server does not stop")
	}
}

// run runs the command line as somebody, demands an exit code and returns what it printed.
func (w *works) run(as string, code int, args ...string) string {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.t.Context(), 2*time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, filepath.Join(w.bin, "proofload"), args...)
	c.Dir = w.dir
	c.Env = append(os.Environ(), tokenVariable+"="+w.tokens[as])
	out, err := c.CombinedOutput()
	if got := c.ProcessState.ExitCode(); got != code {
		w.t.Fatalf("proofload %s: exit %d, %v, want %d\n%s", strings.Join(args, " "), got, err, code, out)
	}
	return string(out)
}

// says fails unless what a command printed has every one of some texts.
func (w *works) says(out string, want ...string) {
	w.t.Helper()
	for _, x := range want {
		if !strings.Contains(out, x) {
			w.t.Errorf("output lacks %q:\n%s", x, out)
		}
	}
}

// fetch saves an answer of the server to a file.
func (w *works) fetch(path, file string) []byte {
	w.t.Helper()
	answer, err := http.Get("http://" + w.address + path)
	if err != nil {
		w.t.Fatal(err)
	}
	defer answer.Body.Close()
	b, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != 200 {
		w.t.Fatalf("%s: %s %s", path, answer.Status, b)
	}
	if err := os.WriteFile(filepath.Join(w.dir, file), b, 0o644); err != nil {
		w.t.Fatal(err)
	}
	return b
}

const carrierBolt = "fasteners/quill-1-rear-carrier-bolt"

var contentLine = regexp.MustCompile(`(?m)^  content +([0-9a-f]{64})$`)

// publish takes a note of the carrier bolt through the desk.
func (w *works) publish(note string, propose, approve []string) {
	w.t.Helper()
	out := w.run("editor", exitClean, append([]string{"correct", "--set", carrierBolt + ":/note=" + note, "--reason", "a remark for the shop", "--server", w.address}, propose...)...)
	m := contentLine.FindStringSubmatch(out)
	if m == nil {
		w.t.Fatalf("no content in %s", out)
	}
	w.run("reviewer", exitClean, append([]string{"review", "approve", carrierBolt, "--content", m[1], "--server", w.address}, approve...)...)
	w.run("reviewer", exitClean, "correct", "publish", carrierBolt, "--server", w.address)
}

// What people sign with keys of their own is verified offline, by the programs that
// users run; whatever a lying server changes is found, and acts are proved as revisions are.
func TestOwnKeysOfTheBuiltPrograms(t *testing.T) {
	w := newWorks(t)
	w.serve("lib.db", "--create", "--demo", "--origin", origin)
	w.run("", exitClean, "key", "new", "maud.key", "--person", "Maud Ibbot")
	w.run("", exitClean, "key", "new", "piet.key", "--person", "Piet Oram")
	w.run("", exitUsage, "key", "new", "piet.key", "--person", "Piet Oram")
	w.run("", exitUsage, "key", "new", "x.key", "--person", "a+b")
	if info, err := os.Stat(filepath.Join(w.dir, "maud.key")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key's mode is %v, %v", info.Mode(), err)
	}
	w.run("", exitClean, "verify", "--server", "http://"+w.address, "--checkpoint", "kept.txt")
	w.publish("cleaned before fitting", []string{"--sign-with", "maud.key"}, []string{"--sign-with", "piet.key"})
	size := regexp.MustCompile(`holds position \d+, (\d+) leaves`).FindStringSubmatch(w.run("", exitClean, "verify", "--server", "http://"+w.address, "--checkpoint", "other.txt"))
	if size == nil {
		t.Fatal("no size")
	}
	w.fetch("/v1/"+carrierBolt+"/document", "bolt.json")
	proof := w.fetch("/v1/"+carrierBolt+"/revisions/2/proof?from_size=291", "proof.json")
	_ = proof
	kept := w.fetch("/v1/checkpoints/newest", "newest.json")
	var note struct{ Note string }
	if err := json.Unmarshal(kept, &note); err != nil {
		t.Fatal(err)
	}
	verify := func(code int, more ...string) string {
		t.Helper()
		return w.run("", code, append([]string{"verify", "bolt.json", "--proof", "proof.json", "--key", "kept.txt.key"}, more...)...)
	}
	w.says(verify(exitClean, "--signer", "maud.key.pub", "--signer", "piet.key.pub"), "signed by Maud Ibbot as its author", "signed by Piet Oram as its reviewer")
	// A server that lies.
	w.run("", exitClean, "key", "new", "false.key", "--person", "Piet Oram")
	w.says(verify(exitFindings, "--signer", "maud.key.pub", "--signer", "false.key.pub"), "NOT PROVED", "not signed with the key of Piet.Oram")
	for what, change := range map[string]func(m map[string]any){
		"no signatures": func(m map[string]any) { delete(m, "signatures"); delete(m, "signed_content") },
		"one less":      func(m map[string]any) { m["signatures"] = m["signatures"].([]any)[:1] },
		"other content": func(m map[string]any) { m["signed_content"] = "e30=" },
	} {
		var m map[string]any
		if err := json.Unmarshal(proof, &m); err != nil {
			t.Fatal(err)
		}
		change(m)
		b, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(w.dir, "lie.json"), b, 0o644); err != nil {
			t.Fatal(err)
		}
		if out := w.run("", exitFindings, "verify", "bolt.json", "--proof", "lie.json", "--key", "kept.txt.key", "--signer", "maud.key.pub", "--signer", "piet.key.pub"); !strings.Contains(out, "NOT PROVED") {
			t.Errorf("%s: %s", what, out)
		}
	}
	w.run("editor", exitUsage, "correct", "--set", carrierBolt+":/note=another", "--reason", "a remark for the shop", "--sign-with", "piet.key", "--server", w.address) // somebody else's key

	out := w.run("", exitClean, "log", "--kind", "act", "--server", w.address)
	w.says(out, "given to Maud Ibbot with the role editor", "signed by Maud Ibbot with a key of their own", "approved by Piet Oram")
	log := w.fetch("/v1/log?kinds=act&documents=true", "acts.json")
	var acts struct {
		Entries []struct {
			Name     string
			Document []byte
		}
	}
	if err := json.Unmarshal(log, &acts); err != nil || len(acts.Entries) == 0 {
		t.Fatal(err, string(log))
	}
	last := acts.Entries[len(acts.Entries)-1]
	if err := os.WriteFile(filepath.Join(w.dir, "act.json"), last.Document, 0o644); err != nil {
		t.Fatal(err)
	}
	w.fetch("/v1/"+last.Name+"/revisions/1/proof", "act-proof.json")
	w.says(w.run("", exitClean, "verify", "act.json", "--proof", "act-proof.json", "--key", "kept.txt.key"), "proved: act.json is the document of "+last.Name)
}

// Two servers with one key and two histories: the witness cosigns the one it saw first
// and refuses the other, and verify believes no server that the witnesses did not see.
func TestSplitView(t *testing.T) {
	w := newWorks(t)
	w.serve("lib.db", "--create", "--demo")
	w.publish("cleaned before fitting", nil, nil)
	w.stop()
	for _, end := range []string{"", ".pages"} {
		b, err := os.ReadFile(filepath.Join(w.dir, "lib.db"+end))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(w.dir, "fork.db"+end), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	fork := &works{t: t, bin: w.bin, dir: w.dir, tokens: w.tokens}
	w.serve("lib.db")
	fork.serve("fork.db")
	for _, n := range []string{"north", "south"} {
		w.run("", exitClean, "witness", "key", n+".key", "--name", "witness.example/"+n)
	}
	witness := func(of *works, name string, code int) string {
		t.Helper()
		return of.run("", code, "witness", "--server", "http://"+of.address, "--keep", name+".txt", "--with", name+".key", "--once")
	}
	w.says(witness(w, "north", exitClean), "cosigned: position")
	witness(w, "south", exitClean)
	w.says(witness(fork, "north", exitClean)) // the same so far
	w.publish("the truth", nil, nil)
	fork.publish("a lie", nil, nil)
	w.says(witness(w, "north", exitClean), "cosigned: position")
	before, err := os.ReadFile(filepath.Join(w.dir, "north.txt"))
	if err != nil {
		t.Fatal(err)
	}
	w.says(witness(fork, "north", exitFindings), "NOT PROVED", "two histories", "Nothing is cosigned")
	if after, err := os.ReadFile(filepath.Join(w.dir, "north.txt")); err != nil || string(after) != string(before) {
		t.Errorf("the witness kept the fork: %v", err)
	}
	verify := func(of *works, code int, more ...string) string {
		t.Helper()
		os.Remove(filepath.Join(w.dir, "kept.txt"))
		return of.run("", code, append([]string{"verify", "--server", "http://" + of.address, "--checkpoint", "kept.txt"}, more...)...)
	}
	both := []string{"--witness", "north.key.pub", "--witness", "south.key.pub", "--cosigned", "north.txt", "--cosigned", "south.txt"}
	w.says(verify(w, exitClean, both...), "witnessed: 2 of 2")
	w.says(verify(fork, exitFindings, both...), "NOT PROVED", "does not show what witnesses saw")
	w.says(verify(w, exitFindings, append(both[:6:6], "--max-age", "1h")...), "1 of 2 witnesses vouch")
	w.says(verify(w, exitClean, append(both[:6:6], "--quorum", "1", "--max-age", "1h")...), "witnessed: 1 of 2")
	time.Sleep(2100 * time.Millisecond)
	w.says(verify(w, exitFindings, append(both[:4:4], "--cosigned", "north.txt", "--quorum", "1", "--max-age", "1s")...), "more than 1s ago")
	w.run("", exitUsage, "verify", "--server", "http://"+w.address, "--checkpoint", "kept.txt", "--max-age", "1h")
	w.run("", exitUsage, "verify", "--server", "http://"+w.address, "--checkpoint", "kept.txt", "--witness", "north.key.pub", "--quorum", "2")

	// Long running, it tells the last cosigned checkpoint and ends on an interruption.
	long := exec.Command(filepath.Join(w.bin, "proofload"), "witness", "--server", "http://"+w.address, "--keep", "north.txt", "--with", "north.key", "--listen", "127.0.0.1:0", "--every", "1s")
	long.Dir = w.dir
	out, err := long.StdoutPipe()
	if err == nil {
		err = long.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	_, at, ok := strings.Cut(strings.TrimSpace(line), " at ")
	if err != nil || !ok {
		t.Fatalf("%q, %v", line, err)
	}
	w.says(verify(w, exitClean, "--witness", "north.key.pub", "--cosigned", at, "--max-age", "1h"), "witnessed: 1 of 1")
	if err := long.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := long.Wait(); err != nil {
		t.Errorf("an interrupted witness ends with %v", err)
	}
}

// A library changes its key by a note that the old one signs: who keeps the old key
// follows; who is shown a key without such a note does not.
func TestKeyRotation(t *testing.T) {
	w := newWorks(t)
	w.serve("lib.db", "--create", "--demo", "--key", "lib.key")
	w.run("", exitClean, "verify", "--server", "http://"+w.address, "--checkpoint", "kept.txt")
	w.run("", exitClean, "witness", "key", "north.key", "--name", "witness.example/north")
	w.run("", exitClean, "witness", "--server", "http://"+w.address, "--keep", "north.txt", "--with", "north.key", "--once")
	w.stop()
	rotate := exec.Command(filepath.Join(w.bin, "server"), "key", "rotate", "--store", "sqlite:lib.db", "--key", "lib.key")
	rotate.Dir = w.dir
	if out, err := rotate.CombinedOutput(); err != nil || !strings.Contains(string(out), "proofload key handover") {
		t.Fatalf("%v: %s", err, out)
	}
	w.serve("lib.db", "--key", "lib.key")
	w.says(w.run("", exitClean, "verify", "--server", "http://"+w.address, "--checkpoint", "kept.txt"), "key changed, and the old one signed the new", "proved:")
	w.says(w.run("", exitClean, "verify", "--server", "http://"+w.address, "--checkpoint", "kept.txt"), "proved:")
	w.run("", exitClean, "witness", "--server", "http://"+w.address, "--keep", "north.txt", "--with", "north.key", "--once")
	w.says(w.run("", exitClean, "log", "--kind", "act", "--server", w.address), "signing key changed")

	stranger := newWorks(t)
	stranger.serve("lib.db", "--create", "--demo")
	w.says(w.run("", exitFindings, "verify", "--server", "http://"+stranger.address, "--checkpoint", "kept.txt"), "NOT PROVED")
}
