package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const source = `package p

// Limit is a constant that moves a verdict.
const Limit = 0.12

func Above(x float64) bool {
	if x > Limit && x != 7 {
		return true
	}
	return false
}

func Name(s string) string { return s + "!" }
`

func TestMutantsOf(t *testing.T) {
	ms, err := mutantsOf("p.go", []byte(source))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, m := range ms {
		got = append(got, m.was+" -> "+m.text)
	}
	want := []string{
		"0.12 -> 0.132",
		"x > Limit && x != 7 -> !(x > Limit && x != 7)",
		"&& -> ||", "> -> >=", "!= -> ==", "7 -> 8",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if planted := string(ms[0].plant([]byte(source))); !strings.Contains(planted, "Limit = 0.132") {
		t.Errorf("the fault is not in the text:\n%s", planted)
	}
}

// A sample stays the same when lines are added around it.
func TestSampleIsStable(t *testing.T) {
	before, err := mutantsOf("p.go", []byte(source))
	if err != nil {
		t.Fatal(err)
	}
	after, err := mutantsOf("p.go", []byte(strings.Replace(source, "func Above", "// A comment.\nvar _ = 1\n\nfunc Above", 1)))
	if err != nil {
		t.Fatal(err)
	}
	keys := map[string]bool{}
	for _, m := range after {
		keys[m.key] = true
	}
	for _, m := range before {
		if !keys[m.key] {
			t.Errorf("%v has another key after lines were added elsewhere", m)
		}
	}
	if len(sample(before, 2)) != 2 || len(sample(before, 0)) != len(before) {
		t.Error("a sample takes as many as were asked for, and 0 takes all")
	}
}

// A module whose test sees the boundary and not the constant.
func TestJudge(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"go.mod":    "module p\n\ngo 1.26\n",
		"p.go":      "package p\n\nfunc Above(x int) bool { return x > 5 }\n\nfunc Unseen() int { return 3 }\n",
		"p_test.go": "package p\n\nimport \"testing\"\n\nfunc Test(t *testing.T) {\n\tif Above(5) || !Above(6) {\n\t\tt.Fatal()\n\t}\n}\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	ms, err := mutants(".")
	if err != nil {
		t.Fatal(err)
	}
	got, survivors, err := judge(context.Background(), target{".", []string{"."}}, ms, time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	if got.killed != 2 || got.planted != 3 || len(survivors) != 1 || survivors[0].was != "3" {
		t.Errorf("killed %d of %d, survivors %v; want 2 of 3 and the 3 that no test sees", got.killed, got.planted, survivors)
	}
	if _, _, err := judge(context.Background(), target{".", []string{"./absent"}}, ms, time.Minute); err == nil {
		t.Error("tests that fail without a fault are no measure, and are an error")
	}
}

func TestShares(t *testing.T) {
	name := filepath.Join(t.TempDir(), "shares.txt")
	want := map[string]share{"a/b": {7, 8, 8}, "c": {1, 4, 8}}
	if err := writeShares(name, want); err != nil {
		t.Fatal(err)
	}
	got, err := readShares(name)
	if err != nil || len(got) != 2 || got["a/b"] != want["a/b"] || got["c"] != want["c"] {
		t.Errorf("read %v, %v; want %v", got, err, want)
	}
	if err := os.WriteFile(name, []byte("a/b seven 8 8\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := readShares(name); err == nil {
		t.Error("a count that is no number is an error")
	}
}
