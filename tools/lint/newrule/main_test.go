package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestNewRulePasses lays a new rule of each kind over the module, compiles it and
// runs its cases: what the command writes must be green before anybody edits it.
func TestNewRulePasses(t *testing.T) {
	root, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	overlay := map[string]string{}
	var packages []string
	for _, kind := range []string{"fastener", "procedure"} {
		name := "scaffold-of-a-" + kind
		folder := t.TempDir()
		made, err := write(folder, name, kind)
		if err != nil {
			t.Fatal(err)
		}
		if len(made) != 5 {
			t.Errorf("wrote %v, want rule.go, doc.md and three cases", made)
		}
		// The test runs in the folder of the rule, which is not there: it gets the cases' own.
		test := filepath.Join(folder, "x_test.go")
		source := strings.NewReplacer("PACKAGE", "scaffoldofa"+kind, "FOLDER", filepath.Join(folder, name, "testdata")).Replace(`package PACKAGE
import ("testing"; "proofload/tools/lint"; "proofload/tools/lint/ruletest")
func TestCases(t *testing.T) {
	if err := lint.Validate([]*lint.Rule{Rule}); err != nil { t.Fatal(err) }
	ruletest.Run(t, Rule, "FOLDER")
}`)
		if err := os.WriteFile(test, []byte(source), 0o644); err != nil {
			t.Fatal(err)
		}
		in := filepath.Join(root, "tools", "lint", "rules", name)
		overlay[filepath.Join(in, "x_test.go")] = test
		for _, f := range []string{"rule.go", "doc.md"} {
			overlay[filepath.Join(in, f)] = filepath.Join(folder, name, f)
		}
		packages = append(packages, "proofload/tools/lint/rules/"+name)
		if out, err := exec.Command("gofmt", "-l", filepath.Join(folder, name)).CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("not formatted: %s %v", out, err)
		}
	}
	list, err := json.Marshal(map[string]any{"Replace": overlay})
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "overlay.json")
	if err := os.WriteFile(file, list, 0o644); err != nil {
		t.Fatal(err)
	}
	for i, pkg := range packages {
		bin := filepath.Join(t.TempDir(), "rule.test")
		cmd := exec.Command("go", "test", "-c", "-vet=off", "-overlay", file, "-o", bin, pkg)
		cmd.Dir = root
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("the new rule does not compile: %v\n%s", err, out)
		}
		if out, err := exec.Command(bin, "-test.v").CombinedOutput(); err != nil || !strings.Contains(string(out), "--- PASS: TestCases/bad_example") {
			t.Errorf("cases of new rule %d do not pass: %v\n%s", i, err, out)
		}
	}
}

func TestRefusals(t *testing.T) {
	tests := []struct{ name, kind, want string }{
		{"bolt", "fastener", "two or more"},
		{"Bolt-too-long", "fastener", "lower-case"},
		{"waiver-too-long", "fastener", "reserved"},
		{"torque-over-yield", "fastener", "exists"},
		{"bolt-too-long", "vehicle", "allowed: fastener, procedure"},
	}
	for _, tt := range tests {
		if _, err := write(t.TempDir(), tt.name, tt.kind); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s of kind %s: error is %v, want one with %q", tt.name, tt.kind, err, tt.want)
		}
	}
	if err := run([]string{"bolt-too-long"}, os.Stderr); err == nil || !strings.Contains(err.Error(), "root of the repository") {
		t.Errorf("outside the root: error is %v", err)
	}
}
