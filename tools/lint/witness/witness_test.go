package witness_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/tools/lint/rules"
	"proofload/tools/lint/witness"
)

var update = flag.Bool("update", false, "write the share")

var day = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

func TestWitnesses(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	facts, err := witness.Of(context.Background(), lib, rules.All, day, "fasteners/quill-1-rear-hub-nut")
	if err != nil {
		t.Fatal(err)
	}
	by := map[string]witness.Fact{}
	for _, f := range facts {
		by[f.At] = f
		if f.Seen+len(f.Unseen) != f.Tried || f.Tried == 0 {
			t.Errorf("%s: %d seen and %d unseen of %d", f.At, f.Seen, len(f.Unseen), f.Tried)
		}
	}
	torque := by["/tightening/stages/0/torque"]
	if !torque.Stands() || torque.By[witness.Print] == 0 || torque.SecondReader == "" {
		t.Errorf("torque of the hub nut has quote, printed pair and second reader, and %+v", torque)
	}
	if thread := by["/thread/designation"]; thread.Stands() || len(thread.Unseen) == 0 {
		t.Errorf("pitch of the hub nut has a witness for everything: %+v", thread)
	}
	if _, err := witness.Of(context.Background(), lib, rules.All, day, "vehicles/quill-1"); err == nil {
		t.Error("a vehicle was asked for")
	}
	if _, err := witness.Of(context.Background(), lib, rules.All, day, specdata.Name("fasteners/none")); err == nil {
		t.Error("a record that is not there was asked for")
	}
}

// TestShareMayOnlyRise asks for a sample of the demo library: how many of the
// mistakes anybody notices may rise, and not fall.
func TestShareMayOnlyRise(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	n, tried, seen := 0, 0, 0
	for e := range lib.All(specdata.KindFastener) {
		if n++; n%12 != 0 {
			continue
		}
		facts, err := witness.Of(context.Background(), lib, rules.All, day, e.Name())
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range facts {
			tried, seen = tried+f.Tried, seen+f.Seen
		}
	}
	share := 100 * float64(seen) / float64(tried)
	const file = "testdata/share.txt"
	if *update {
		if err := os.WriteFile(file, fmt.Appendf(nil, "%.1f\n", share), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	least, err := strconv.ParseFloat(strings.TrimSpace(string(text)), 64)
	if err != nil {
		t.Fatal(err)
	}
	switch {
	case share < least-0.05:
		t.Errorf("%.1f %% of the mistakes are noticed, it was %.1f %%", share, least)
	case share > least+0.5:
		t.Logf("%.1f %% of the mistakes are noticed, more than %.1f %%: go test ./tools/lint/witness -update", share, least)
	}
}
