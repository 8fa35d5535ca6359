package lint_test

import (
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/ruletest"
)

func TestAffected(t *testing.T) {
	world, err := ruletest.World()
	if err != nil {
		t.Fatal(err)
	}
	var all []specdata.Name // the world is one vehicle with one source
	for _, k := range specdata.Kinds {
		for e := range world.All(k) {
			all = append(all, e.Name())
		}
	}
	tests := []struct {
		changed specdata.Name
		want    []specdata.Name
	}{
		{"sources/tansy-2-chassis", all},
		{"vehicles/tansy-2", all},
		{"fasteners/tansy-2-wheel-bolt", all},
		{"fasteners/removed", nil},
	}
	for _, tt := range tests {
		if got := lint.Affected(world, []specdata.Name{tt.changed}); !slices.Equal(got, tt.want) {
			t.Errorf("a change of %s affects %q, want %q", tt.changed, got, tt.want)
		}
	}
}

// TestAffectedStaysNear: records of other vehicles that share neither source nor
// reference are left alone; users are followed through others.
func TestAffectedStaysNear(t *testing.T) {
	lib := sources(t, source("a"), source("b", "supersedes: [a]"), source("c", "supersedes: [b]"), source("far"))
	want := []specdata.Name{"sources/a", "sources/b", "sources/c"}
	if got := lint.Affected(lib, []specdata.Name{"sources/a"}); !slices.Equal(got, want) {
		t.Errorf("a change of a affects %q, want %q", got, want)
	}
	want = []specdata.Name{"sources/b", "sources/c"}
	if got := lint.Affected(lib, []specdata.Name{"sources/c"}); !slices.Equal(got, want) {
		t.Errorf("a change of c affects %q, want %q", got, want)
	}
}

// TestAffectedFindsDuplicatesAndSuperseded: a source is compared with others of its name,
// and what rests on a source it supersedes learns that it does.
func TestAffectedFindsDuplicatesAndSuperseded(t *testing.T) {
	duplicate := strings.Replace(source("duplicate"), "title: Sheet duplicate", "title: sheet-d", 1)
	lib := sources(t, source("a"), source("b", "supersedes: [a]"), source("d", "supersedes: [a]"), duplicate, source("far"))
	want := []specdata.Name{"sources/a", "sources/b", "sources/d", "sources/duplicate"}
	if got := lint.Affected(lib, []specdata.Name{"sources/d"}); !slices.Equal(got, want) {
		t.Errorf("a change of d affects %q, want %q", got, want)
	}
}

// TestAffectedByLooksFromBothSides: a withdrawn record's users are judged again, it is
// not, and where nothing is concerned the answer is none and not all.
func TestAffectedByLooksFromBothSides(t *testing.T) {
	old := sources(t, source("a"), source("b", "supersedes: [a]"), source("far"))
	now := library.Without(old, "sources/a")
	if got := lint.AffectedBy(now, old, []specdata.Name{"sources/a"}); !slices.Equal(got, []specdata.Name{"sources/b"}) {
		t.Errorf("withdrawing a affects %q, want b", got)
	}
	if got := lint.AffectedBy(library.Without(old, "sources/far"), old, []specdata.Name{"sources/far"}); got == nil || len(got) > 0 {
		t.Errorf("withdrawing what nobody uses affects %#v, want none", got)
	}
	// b leaves a: its findings, and those of what it superseded, may change.
	moved := sources(t, source("a"), source("b", "supersedes: [far]"), source("far"))
	want := []specdata.Name{"sources/a", "sources/b", "sources/far"}
	if got := lint.AffectedBy(moved, old, []specdata.Name{"sources/b"}); !slices.Equal(got, want) {
		t.Errorf("moving b affects %q, want %q", got, want)
	}
}
