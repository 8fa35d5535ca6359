package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The unit starts the server with flags that it has, makes no store where one is gone,
// keeps key and mark apart from it, and is one that systemd takes and finds shut in.
func TestService(t *testing.T) {
	b, err := os.ReadFile("proofload.service")
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	_, line, _ := strings.Cut(text, "\nExecStart=")
	line, _, _ = strings.Cut(line, "\n")
	args := strings.Fields(line)
	if len(args) < 2 {
		t.Fatalf("ExecStart is %q", line)
	}
	c, err := parse(args[1:], os.Stdout, func(string) (string, bool) { return "", false })
	if err != nil {
		t.Fatalf("the server does not take %s: %v", line, err)
	}
	file, _ := c.store.File()
	if c.create || c.demo || file == "" || filepath.Dir(c.key) == filepath.Dir(file) || filepath.Dir(c.mark) == filepath.Dir(file) {
		t.Errorf("create %t, demo %t, store %s, key %s, mark %s", c.create, c.demo, file, c.key, c.mark)
	}
	for _, setting := range []string{"User=proofload", "UMask=0077", "ProtectSystem=strict", "NoNewPrivileges=yes", "ExecReload=/bin/kill -HUP $MAINPID"} {
		if !strings.Contains(text, "\n"+setting+"\n") {
			t.Errorf("the unit has no %s", setting)
		}
	}
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		t.Logf("*** systemd-analyze is not in the PATH; only the flags of the unit were checked")
		return
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	unit := filepath.Join(t.TempDir(), "proofload.service")
	write(t, unit, strings.Replace(text, args[0], self, 1)) // systemd wants a program that is there
	for _, args := range [][]string{{"verify", "--man=no", unit}, {"security", "--no-pager", "--offline=yes", "--threshold=20", unit}} {
		out, err := exec.Command("systemd-analyze", args...).CombinedOutput()
		if err != nil || args[0] == "verify" && len(out) > 0 {
			t.Errorf("systemd-analyze %s: %v\n%s", args[0], err, out)
		}
	}
}
