package lint_test

import (
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
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

// TestAffectedFindsTwinsAndSuperseded: a source is compared with others of its name,
// and what rests on a source it supersedes learns that it does.
func TestAffectedFindsTwinsAndSuperseded(t *testing.T) {
	twin := strings.Replace(source("twin"), "title: Sheet twin", "title: sheet-d", 1)
	lib := sources(t, source("a"), source("b", "supersedes: [a]"), source("d", "supersedes: [a]"), twin, source("far"))
	want := []specdata.Name{"sources/a", "sources/b", "sources/d", "sources/twin"}
	if got := lint.Affected(lib, []specdata.Name{"sources/d"}); !slices.Equal(got, want) {
		t.Errorf("a change of d affects %q, want %q", got, want)
	}
}
