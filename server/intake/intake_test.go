package intake_test

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofload/server/check"
	"proofload/server/intake"
	"proofload/server/store/sqlite"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
)

func TestFill(t *testing.T) {
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	judged := 0
	finding := specdata.Finding{Rule: "some-rule", Severity: specdata.Error, Record: "fasteners/a", Pointer: "/place", Message: "place is wrong"}
	judge := func(found ...specdata.Finding) check.Func {
		return func(_ context.Context, l library.Library, only []specdata.Name, old library.Library) (*check.Report, error) {
			judged++
			if l != library.Library(lib) || only != nil || old != nil {
				t.Errorf("judged %v of a library against %v", only, old)
			}
			return &check.Report{Findings: found}, nil
		}
	}
	fill := func(c check.Func) (int, error) {
		return intake.Fill(t.Context(), s, lib, c, "a", "b", "test", time.Unix(1, 0))
	}
	_, err = fill(judge(finding))
	if err == nil || !strings.Contains(err.Error(), "fasteners/a/place: place is wrong [some-rule]") {
		t.Errorf("a finding that blocks gives %v", err)
	}
	if head, err := s.Head(t.Context()); err != nil || head.Position != 0 {
		t.Errorf("after a refusal the store is at %d, %v", head.Position, err)
	}
	finding.Waived = "accepted for the test, with a reason"
	n, err := fill(judge(finding))
	if err != nil || n != lib.Len() {
		t.Errorf("filled %d of %d, %v", n, lib.Len(), err)
	}
	for k := range specdata.Kinds {
		for e := range lib.All(specdata.Kinds[k]) {
			rev, err := s.Get(t.Context(), e.Name(), 1)
			if err != nil || rev.Hash != e.Hash || rev.Reviewer != "b" {
				t.Fatalf("%s: %v, %v", e.Name(), rev, err)
			}
		}
	}
	if _, err := fill(judge()); err == nil || !strings.Contains(err.Error(), "only an empty one") {
		t.Errorf("a store that holds something gives %v", err)
	}
	if judged != 2 {
		t.Errorf("judged %d times, want 2", judged)
	}
}
