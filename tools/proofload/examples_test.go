package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"proofload/specdata/demo"
)

// example is a line of help: how it ends and what it prints.
type example struct {
	line string
	code int
	// says is part of what it prints on either stream.
	says string
}

// The examples in the order in which they are run, in a copy of the demo library.
var examples = []example{
	{line: `proofload new library river-street --title "River Street workshop"`, says: "river-street/proofload.yaml: a library without records"},
	{line: `proofload new vehicle --library river-street --make Vessary --model Quill --title "Vessary Quill 1.4"`, says: "vehicles/vessary-quill-1-4.yaml"},
	{line: `proofload new source --library river-street --title "Quill chassis data" --issuer "Vessary Motor Works"`, says: "sources/quill-chassis-data.yaml"},
	{line: `proofload new fastener --library river-street --vehicle vessary-quill-1-4 --title "Rear hub nut"`, says: "fasteners/vessary-quill-1-4-rear-hub-nut.yaml"},
	{line: `proofload new assembly --library river-street --vehicle vessary-quill-1-4 --title "Rear hub"`, says: "assemblies/vessary-quill-1-4-rear-hub.yaml"},
	{line: `proofload new procedure --library river-street --vehicle vessary-quill-1-4 --title "Rear hub bearing"`, says: "procedures/vessary-quill-1-4-rear-hub-bearing.yaml"},
	{line: "proofload schema fastener", says: `"title": "Fastener"`},
	{line: "proofload schema library", says: `"$defs"`},
	{line: "proofload lint", says: " records: "},
	{line: "proofload lint fasteners/quill-1-rear-hub-nut.yaml", says: "1 record: "},
	{line: "proofload lint --since origin/main", says: "0 documents changed since origin/main"},
	{line: "proofload lint --report sarif=lint.sarif --report junit=lint.xml", says: " records: "},
	{line: "proofload lint --diff", says: " records: "},
	{line: "cat draft.yaml | proofload lint -", says: "1 record: "},
	{line: "proofload baseline update known.txt", says: "known.txt: "},
	{line: "proofload lint --baseline known.txt", says: " records: "},
	{line: "proofload baseline prune known.txt", says: "known.txt: "},
	{line: "proofload explain torque-over-yield", says: "## How to mend"},
	{line: "proofload explain waiver-expired", says: "## How to mend"},
	{line: "proofload rules", says: "torque-over-yield"},
	{line: "proofload rules --cites-only practice", says: "common practice"},
	{line: "proofload rules --json", says: `"name": "torque-over-yield"`},
	{line: "proofload rules --library ./our-library", says: "torque-over-yield"},
	{line: "proofload witnesses fasteners/quill-1-rear-hub-nut", says: "quill-1-rear-hub-nut"},
	{line: "proofload witnesses", says: "fasteners"},
	{line: `proofload joint M10x1.25 10.9 --torque "62 N.m"`, says: "M10x1.25 10.9"},
	{line: `proofload joint M12x1.5 10.9 --torque "40 N.m" --angle "90 deg" --grip "30 mm"`, says: "M12x1.5 10.9"},
	{line: `proofload joint 7/16-20 "grade 8" --torque "60 lbf.ft" --surface oiled`, says: "7/16-20"},
	{line: `proofload joint M14x1.5 8.8 --torque "90 N.m" --kind wheel --into aluminium --engagement "20 mm"`, says: "M14x1.5 8.8"},
	{line: "proofload show fasteners/quill-1-rear-hub-nut", says: "240 N·m"},
	{line: "proofload show quill-1-rear-hub-nut", says: "240 N·m"},
	{line: "proofload show quill-1-rear-hub-nut --yaml", says: "kind: fastener"},
	{line: "proofload compose quill-1-rear-hub-bearing", says: "wheel nuts"},
	{line: "proofload compose quill-1-rear-hub-bearing --step carrier-tighten", says: "carrier"},
	{line: "proofload run quill-1-rear-hub-bearing", says: "Everything that was opened is closed"},
	{line: "proofload run brindle-3-rear-axle-cover-reseal --option axle=open", says: "Everything that was opened is closed"},
	{line: "proofload run procedures/dray-2-front-discs-and-pads --quiet", says: "Everything that was opened is closed"},
	{line: "proofload draft --assembly quill-1-rear-hub-disc --to-free hub --vehicle quill-1 -o hub.yaml", says: "acts to free it"},
	{line: "proofload sheet quill-1-rear-hub-bearing --side left -o hub.pdf", says: "NOT FOR"},
	{line: "proofload sheet quill-1-rear-hub-bearing --side left --option rear_brake=disc --built 2018-W10 -o hub.pdf", says: "NOT FOR"},
	{line: "proofload sheet dray-2-front-discs-and-pads --paper letter -o discs.pdf", says: "discs.pdf: "},
	{line: "proofload sheet pell-1-cylinder-head-refit -o head.html", says: "head.html: "},
	{line: "proofload help", says: "Start here:"},
	{line: "proofload help lint", says: "Exit codes: 0 nothing"},
}

// elsewhere holds the beginnings of examples that need a server, a store that holds
// something, or a document of one, and the test that runs the command against them.
var elsewhere = map[string]string{
	"proofload sheet quill-1-rear-hub-bearing --side left -o hub.pdf --library http": "TestReadmeCommands",
	"proofload correct": "TestCorrectAndReview", "proofload review": "TestCorrectAndReview", "proofload token": "TestCorrectAndReview",
	"proofload job": "TestJob", "proofload import": "TestScripts/transfer", "proofload export": "TestScripts/transfer", "proofload diff": "TestReadmeCommands",
	"proofload log": "TestReadmeCommands", "proofload release": "TestReadmeCommands", "proofload verify": "TestReadmeCommands",
	"proofload backup": "TestScripts/backup", "proofload restore": "TestScripts/backup", "proofload copy": "TestScripts/backup", "proofload narration": "TestNarration",
	"proofload config": "TestScripts", "proofload doctor": "TestScripts", "proofload witness ": "TestScripts",
}

// TestHelpExamples runs what help shows with the built program, in one folder, as
// somebody would who copies before they read. An example that is not run fails it.
func TestHelpExamples(t *testing.T) {
	bin, dir := program(t), t.TempDir()
	if err := os.CopyFS(dir, demo.Files); err != nil {
		t.Fatal(err)
	}
	for from, to := range map[string]string{".": "our-library", "fasteners/quill-1-rear-hub-nut.yaml": "draft.yaml"} {
		if from == "." {
			if err := os.CopyFS(filepath.Join(dir, to), demo.Files); err != nil {
				t.Fatal(err)
			}
			continue
		}
		b, err := os.ReadFile(filepath.Join(dir, from))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, to), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	shell := func(line string) (string, error) {
		cmd := exec.Command("sh", "-c", line)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "PATH="+filepath.Dir(bin)+string(os.PathListSeparator)+os.Getenv("PATH"),
			"GIT_CONFIG_NOSYSTEM=1", "GIT_AUTHOR_NAME=Maud", "GIT_AUTHOR_EMAIL=maud@tansy.example", "GIT_COMMITTER_NAME=Maud", "GIT_COMMITTER_EMAIL=maud@tansy.example")
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	if out, err := shell("git init -q . && git add proofload.yaml vehicles fasteners assemblies procedures sources && git commit -qm demo && git update-ref refs/remotes/origin/main HEAD"); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	known := map[string]bool{}
	for _, x := range examples {
		known[x.line] = true
		out, err := shell(x.line)
		code := 0
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			code = exit.ExitCode()
		} else if err != nil {
			t.Fatal(err)
		}
		if code != x.code || !strings.Contains(out, x.says) {
			t.Errorf("$ %s\nexit code %d, want %d; it does not say %q:\n%.1500s", x.line, code, x.code, x.says, out)
		}
	}
	var walk func(cs []*command)
	walk = func(cs []*command) {
		for _, c := range cs {
			walk(c.sub)
			for _, ex := range c.examples {
				line, _, _ := strings.Cut(ex, "   #")
				line, _, _ = strings.Cut(line, " # ")
				if line = strings.TrimSpace(line); known[line] {
					continue
				}
				ran := false
				for begins := range elsewhere {
					ran = ran || strings.HasPrefix(line, begins)
				}
				if !ran {
					t.Errorf("no test runs the example of help: %s", line)
				}
			}
		}
	}
	walk(commands())
}
