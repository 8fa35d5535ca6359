package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/whom"
)

// Everything that prints a value, a step or a verdict of a record says what it is for
// and what it is not for: every record by show, every procedure by run, and every
// sheet on every page, on screen and on both papers.
func TestEveryOutputSaysForWhom(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	says := func(t *testing.T, got string, f whom.For) {
		t.Helper()
		for _, line := range f.Lines() {
			if !strings.Contains(joined(got), joined(line)) {
				t.Errorf("does not say %q", line)
			}
		}
	}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			as := specdata.AppliesOf(e.Record)
			if len(as) == 0 {
				continue
			}
			t.Run("show "+string(e.Name()), func(t *testing.T) {
				var b bytes.Buffer
				show := shown{w: &b, lib: lib}
				show.record(e)
				f := whom.Of(lib, as)
				if p, ok := e.Record.(*specdata.Procedure); ok {
					f = whom.OfProcedure(lib, p)
				}
				says(t, b.String(), f)
			})
		}
	}
	for e := range lib.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		for _, v := range dryrun.Variants(lib, p) {
			side := map[string]string{"one": "left", "both": "both", "none": ""}[p.Sides]
			f := whom.OfVariant(lib, p, v, side)
			said := whom.Say(p, v)
			args := []string{p.ID, "--library", "../../specdata/demo", "--vehicle", said.Vehicle}
			for _, o := range said.Stated.Options {
				args = append(args, "--option", o)
			}
			if said.Stated.Built != "" {
				args = append(args, "--built", said.Stated.Built)
			}
			if side == "left" {
				args = append(args, "--side", side)
			}
			t.Run("run "+p.ID+" "+v.String(), func(t *testing.T) {
				says(t, demand(t, exitClean, "", append([]string{"run", "--quiet"}, args...)...), f)
			})
			for _, out := range []struct {
				file string
				more []string
			}{{"s.html", nil}, {"a4.pdf", []string{"--paper", "A4"}}, {"letter.pdf", []string{"--paper", "letter"}}} {
				t.Run(out.file+" "+p.ID+" "+v.String(), func(t *testing.T) {
					file := filepath.Join(dir, out.file)
					demand(t, exitClean, "", append(append([]string{"sheet", "-o", file}, args...), out.more...)...)
					text := string(read(t, file))
					if strings.HasSuffix(file, ".html") {
						says(t, text, f)
						return
					}
					pages := pdfText(t, file)
					if last := pages[len(pages)-1]; len(strings.Fields(last)) < 120 {
						t.Errorf("the last page has next to nothing but the sign-off: %s", last)
					}
					for i, page := range pages {
						says(t, page, f)
						if want := fmt.Sprintf("page %d of %d", i+1, len(pages)); !strings.Contains(page, want) {
							t.Errorf("page %d does not say %q", i+1, want)
						}
					}
				})
			}
		}
	}
}

// pdfText reads the pages of a PDF with a program that others wrote.
func pdfText(t *testing.T, file string) []string {
	t.Helper()
	program, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext is not installed; CI needs poppler-utils")
		}
		t.Skip("SKIPPED: pdftotext is not installed (poppler-utils), so nobody read the PDF")
	}
	out, err := exec.Command(program, "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSuffix(string(out), "\f"), "\f")
}

// joined leaves out how a text is broken into lines.
func joined(s string) string {
	return strings.Join(strings.Fields(strings.ReplaceAll(s, "\u00a0", " ")), " ")
}

// vehicleless are the commands that print no value, step or verdict of a record, with
// what they print. The others say for whom, and so does a new one.
var vehicleless = map[string]string{
	"new": "a file to fill in", "schema": "a schema", "lint": "findings, which name their record", "baseline": "a file of findings", "explain": "a rule", "rules": "rules", "witnesses": "names of records and rules",
	"joint": "a joint of no vehicle", "token add": "a token", "token list": "tokens", "token revoke": "a token",
	"import": "counts", "export": "counts", "release create": "a named position", "release list": "named positions", "backup": "counts", "restore": "counts", "copy": "counts", "doctor": "the machine", "version": "the program", "help": "the program",
	"correct list": "names; correct show says for whom", "review list": "names; review show says for whom", "job list": "names; job show says for whom",
	"key new": "a key", "narration keep": "a file that is kept", "witness key": "a key", "correct sign": "a signature; correct show says for whom",
	"job export": "the events as they were hashed", "job verify": "hashes", "job erase": "what was erased",
}

// forWhomTests are the commands that say for whom, with the test that reads it.
var forWhomTests = map[string]string{
	"show": "TestEveryOutputSaysForWhom", "run": "TestEveryOutputSaysForWhom", "sheet": "TestEveryOutputSaysForWhom",
	"draft": "testdata/script/forwhom.txtar", "compose": "testdata/script/forwhom.txtar", "diff": "testdata/script/forwhom.txtar",
	"correct show": "testdata/correct.golden", "correct amend": "testdata/correct.golden", "correct recheck": "testdata/correct.golden", "correct withdraw": "testdata/correct.golden", "correct publish": "testdata/correct.golden",
	"review show": "testdata/correct.golden", "review approve": "testdata/correct.golden", "review reject": "testdata/correct.golden", "log": "TestLogSaysForWhom",
	"narration check": "testdata/script/forwhom.txtar", "narration script": "testdata/script/forwhom.txtar", "narration callouts": "testdata/script/forwhom.txtar",
	"verify":   "TestVerifySheet",
	"job open": "TestJobSaysForWhom", "job show": "TestJobSaysForWhom", "job tick": "TestJobSaysForWhom", "job skip": "TestJobSaysForWhom", "job undo": "TestJobSaysForWhom", "job reached": "TestJobSaysForWhom",
	"job measured": "TestJobSaysForWhom", "job wrench": "TestJobSaysForWhom", "job answer": "TestJobSaysForWhom", "job note": "TestJobSaysForWhom", "job photo": "TestJobSaysForWhom", "job stop": "TestJobSaysForWhom",
	"job take-over": "TestJobSaysForWhom", "job done": "TestJobSaysForWhom", "job close": "TestJobSaysForWhom", "job reopen": "TestJobSaysForWhom", "job tag": "TestJobSaysForWhom", "job moved": "TestJobSaysForWhom",
}

// A new command says for whom, or why it needs not.
func TestEveryCommandSaysForWhom(t *testing.T) {
	var walk func(path string, cs []*command)
	walk = func(path string, cs []*command) {
		for _, c := range cs {
			name := strings.TrimSpace(path + " " + c.name)
			if len(c.sub) > 0 {
				walk(name, c.sub)
				continue
			}
			if vehicleless[name] == "" && vehicleless[path] == "" && forWhomTests[name] == "" {
				t.Errorf("proofload %s: no test reads for whom its output is; name the test in forWhomTests, or say in vehicleless why there is none", name)
			}
		}
	}
	walk("", commands())
	for name, file := range forWhomTests {
		if strings.HasPrefix(file, "testdata/") && !strings.Contains(string(read(t, file)), "FOR ") {
			t.Errorf("proofload %s: %s does not read FOR", name, file)
		}
	}
}
