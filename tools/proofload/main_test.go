package main

import (
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"proofload/specdata"
	"proofload/specdata/demo"
)

var update = flag.Bool("update", false, "write what scripts compare with")

func TestMain(m *testing.M) {
	testscript.Main(removing{m}, map[string]func(){"proofload": main})
}

// TestScripts runs the program as a shell would. Every script has a library in
// $WORK/lib, clean under all rules, and runs in $WORK.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("testdata", "script"),
		UpdateScripts:       *update,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("GIT_CONFIG_NOSYSTEM", "1")
			e.Setenv("GIT_AUTHOR_NAME", "Maud")
			e.Setenv("GIT_AUTHOR_EMAIL", "maud@tansy.example")
			e.Setenv("GIT_COMMITTER_NAME", "Maud")
			e.Setenv("GIT_COMMITTER_EMAIL", "maud@tansy.example")
			return os.CopyFS(filepath.Join(e.WorkDir, "lib"), os.DirFS(filepath.Join("testdata", "library")))
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "drafts": drafts, "edit": editFile, "fill": fillIn},
	})
}

// exits runs a command and demands an exit code: exits 1 proofload lint.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND [ARG...]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%s did not run: %v", args[1], err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit code is %d, want %d", got, want)
	}
}

// editFile replaces the first occurrence of a text in a file, as somebody at a keyboard does;
// \n is a line break: edit FILE OLD NEW.
func editFile(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: edit FILE OLD NEW")
	}
	file, breaks := ts.MkAbs(args[0]), strings.NewReplacer(`\n`, "\n")
	text := ts.ReadFile(file)
	old := breaks.Replace(args[1])
	if !strings.Contains(text, old) {
		ts.Fatalf("%s holds no %q", args[0], old)
	}
	ts.Check(os.WriteFile(file, []byte(strings.Replace(text, old, breaks.Replace(args[2]), 1)), 0o644))
}

// fillIn types a value where a todo comment stands, as somebody does who follows what lint
// said last: lint must have named it. A value of - takes the line out, which lint must
// have allowed: fill FILE KEY VALUE.
func fillIn(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: fill FILE KEY VALUE")
	}
	file, key, value := ts.MkAbs(args[0]), args[1], args[2]
	todo := regexp.MustCompile(`(?m)^([ -]*)` + key + `: *(.*)# todo: .*\n`)
	text := ts.ReadFile(file)
	at := todo.FindStringSubmatchIndex(text)
	if at == nil {
		ts.Fatalf("%s has no todo at %s", args[0], key)
	}
	named := regexp.QuoteMeta(args[0]) + `:[0-9:]+ error: ` + key + ` is still to do: `
	line := text[at[2]:at[3]] + key + ": " + value + "\n"
	switch {
	case at[4] < at[5]: // a value is there to be looked at
		named = regexp.QuoteMeta(args[0]) + `:[0-9:]+ warning: still to do: see that it is ` + strings.TrimSpace(text[at[4]:at[5]])
	case value == "-":
		named, line = named+`.*; or leave the key out`, ""
	}
	if said := ts.ReadFile("stdout"); !regexp.MustCompile(named).MatchString(said) {
		ts.Fatalf("lint did not say %s:\n%s", named, said)
	}
	ts.Check(os.WriteFile(file, []byte(text[:at[0]]+line+text[at[1]:]), 0o644))
}

// drafts copies the demo to a folder and drafts every part of every assembly in it
// into the folder: drafts FOLDER.
func drafts(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: drafts FOLDER")
	}
	folder := ts.MkAbs(args[0])
	ts.Check(os.CopyFS(folder, demo.Files))
	lib, err := demo.Library()
	ts.Check(err)
	n := 0
	for e := range lib.All(specdata.KindAssembly) {
		a := e.Record.(*specdata.Assembly)
		for _, p := range a.Parts {
			n++
			file := filepath.Join(folder, "procedures", a.ID+"-"+p.ID+".yaml")
			err := ts.Exec("proofload", "draft", "--library", folder, "--assembly", a.ID, "--to-free", p.ID, "--vehicle", a.AppliesTo[0].Vehicle, "-o", file)
			// A draft that lacks something says what, exits 1, and is there all the same.
			if err != nil && !strings.Contains(ts.ReadFile("stderr"), "missing: ") {
				ts.Fatalf("%s of %s: %v", p.ID, a.ID, err)
			}
			_, err = os.Stat(file)
			ts.Check(err)
		}
	}
	ts.Logf("%d drafts", n)
}

// removing takes away what was built for the tests, when they are through.
type removing struct{ *testing.M }

func (r removing) Run() int {
	defer func() {
		if buildDir != "" {
			_ = os.RemoveAll(buildDir)
		}
	}()
	return r.M.Run()
}
