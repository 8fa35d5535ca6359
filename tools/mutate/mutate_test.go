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

// A module whose test sees the boundary, the loop and not the constant.
func TestJudge(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"go.mod":    "module p\n\ngo 1.26\n",
		"p.go":      "package p\n\nfunc Above(x int) bool { return x > 5 }\n\nfunc Unseen() int { return 3 }\n\nfunc Join(a, b string) string { return a + b }\n\nfunc Fits() int8 { return 127 }\n\nfunc Last() int {\n\ti := 0\n\tfor i != 3 {\n\t\ti += 1\n\t}\n\treturn i\n}\n",
		"p_test.go": "package p\n\nimport \"testing\"\n\nfunc Test(t *testing.T) {\n\tif Above(5) || !Above(6) || Last() != 3 {\n\t\tt.Fatal()\n\t}\n}\n",
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
	got, survivors, err := judge(context.Background(), target{".", []string{"."}}, ms, 5*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	// Text does not subtract and 128 is no int8: those are no faults. A loop that steps
	// over its end runs for ever.
	if want := (share{killed: 5, planted: 7, hung: 1, uncompiled: 2}); got != want {
		t.Errorf("judged %+v, want %+v", got, want)
	}
	var unseen []string
	for _, m := range survivors {
		unseen = append(unseen, m.was)
	}
	if strings.Join(unseen, " ") != "3 0" {
		t.Errorf("survivors %v; want the 3 that no test sees and the 0 that makes no difference", survivors)
	}
	if _, _, err := judge(context.Background(), target{".", []string{"./absent"}}, ms, time.Minute); err == nil {
		t.Error("tests that fail without a fault are no measure, and are an error")
	}
}

func TestShares(t *testing.T) {
	name := filepath.Join(t.TempDir(), "shares.txt")
	want := map[string]share{"a/b": {killed: 7, planted: 8, sample: 8}, "c": {killed: 1, planted: 4, sample: 8}}
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

func TestReadEquivalent(t *testing.T) {
	name := filepath.Join(t.TempDir(), "equivalent.txt")
	if got, err := readEquivalent(name); err != nil || len(got) != 0 {
		t.Errorf("no file: %v, %v", got, err)
	}
	for text, fine := range map[string]bool{
		"# why\n\n0123456789abcdef nothing is added in no time\n": true,
		"0123456789abcdef\n":                       false,
		"0123456789abcdef because\n":               false,
		"main.go:12 nothing is added in no time\n": false,
		"0123456789abcdef nothing is added in no time\n0123456789abcdef nothing is added in no time\n": false,
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if got, err := readEquivalent(name); (err == nil) != fine || fine && got["0123456789abcdef"] == "" {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
}
