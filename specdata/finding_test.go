package specdata_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

// The identity names rule, record, place by key and value, and nothing else: where
// the file lies, what the message says and how severe it is may change.
func TestIdentity(t *testing.T) {
	base := specdata.Finding{Rule: "r", Record: "fasteners/a", Pointer: "/x/0", Value: "240 N.m", Message: "m", Severity: specdata.Error}
	id := func(change func(*specdata.Finding), key string) string {
		f := base
		change(&f)
		f.Identify(key)
		return f.Identity
	}
	same := func(*specdata.Finding) {}
	want := id(same, "/x/id=y")
	// SHA-256 of the four parts, each ended by a zero byte, cut to 16 bytes, computed
	// by another program; baselines people keep depend on it.
	if want != "12d91ce00206b3752f346f1add9f59f3" {
		t.Errorf("identity is %q", want)
	}
	for name, got := range map[string]string{
		"moved":    id(func(f *specdata.Finding) { f.File, f.Line, f.Pointer = "b.yaml", 9, "/x/5" }, "/x/id=y"),
		"reworded": id(func(f *specdata.Finding) { f.Message, f.Severity, f.Waived = "n", specdata.Advice, "w" }, "/x/id=y"),
	} {
		if got != want {
			t.Errorf("%s: identity changes", name)
		}
	}
	for name, got := range map[string]string{
		"value":  id(func(f *specdata.Finding) { f.Value = "24 N.m" }, "/x/id=y"),
		"rule":   id(func(f *specdata.Finding) { f.Rule = "s" }, "/x/id=y"),
		"record": id(func(f *specdata.Finding) { f.Record = "fasteners/b" }, "/x/id=y"),
		"key":    id(same, "/x/id=z"),
		// Parts must not run into each other.
		"shifted": id(func(f *specdata.Finding) { f.Rule, f.Record = "rf", "asteners/a" }, "/x/id=y"),
	} {
		if got == want {
			t.Errorf("%s: identity does not change", name)
		}
	}
}

func TestRank(t *testing.T) {
	order := []specdata.Severity{"", specdata.Advice, specdata.Warning, specdata.Error}
	for i, s := range order {
		if s.Rank() != i {
			t.Errorf("%q has rank %d, want %d", s, s.Rank(), i)
		}
	}
	if specdata.Severity("fatal").Rank() != 0 {
		t.Error("a severity that does not exist has a rank")
	}
}

// The order of a report does not depend on the order findings were made in.
func TestSortFindings(t *testing.T) {
	short := rapid.SampledFrom([]string{"", "a", "b"})
	one := rapid.Custom(func(t *rapid.T) specdata.Finding {
		return specdata.Finding{
			Rule: short.Draw(t, "rule"), Record: specdata.Name(short.Draw(t, "record")), Pointer: short.Draw(t, "pointer"), Message: short.Draw(t, "message"),
			Position: specdata.Position{File: short.Draw(t, "file"), Line: rapid.IntRange(0, 11).Draw(t, "line"), Column: rapid.IntRange(0, 11).Draw(t, "column")},
		}
	})
	text := func(fs []specdata.Finding) string {
		var b strings.Builder
		for _, f := range fs {
			b.WriteString(strings.Join([]string{f.File, string(rune('0' + f.Line)), string(rune('0' + f.Column)), string(f.Record), f.Pointer, f.Rule, f.Message}, "\x00") + "\n")
		}
		return b.String()
	}
	rapid.Check(t, func(t *rapid.T) {
		fs := rapid.SliceOfN(one, 0, 12).Draw(t, "findings")
		shuffled := rapid.Permutation(fs).Draw(t, "shuffled")
		specdata.SortFindings(fs)
		specdata.SortFindings(shuffled)
		if text(fs) != text(shuffled) {
			t.Fatalf("%v\n%v", fs, shuffled)
		}
		lines := strings.Split(strings.TrimSuffix(text(fs), "\n"), "\n")
		if !slices.IsSorted(lines) {
			t.Fatalf("not in order of file, line, column, record, pointer, rule, message: %q", lines)
		}
	})
}
