package main

import (
	"path/filepath"
	"strings"
	"testing"

	pb "proofload/api/proofload/v1"
)

// What is asked for at an older moment looks unmistakably old, and says what it is now:
// a record, a run and a sheet of the demo library, whose hub nut has moved since.
func TestOldMoments(t *testing.T) {
	w := openSigning(t, filepath.Join(t.TempDir(), "store.db"))
	w.change(t, 250)
	address := w.address
	file := filepath.Join(t.TempDir(), "old.html")
	for _, c := range []struct {
		args []string
		old  bool
	}{
		{[]string{"show", "fasteners/quill-1-rear-hub-nut", "--at", "position:1"}, true},
		{[]string{"show", "fasteners/quill-1-rear-hub-nut", "--at", "position:2"}, false},
		{[]string{"run", "quill-1-rear-hub-bearing", "--quiet", "--side", "left", "--at", "position:1"}, true},
		{[]string{"run", "quill-1-rear-hub-bearing", "--quiet", "--side", "left", "--at", "position:2"}, false},
		{[]string{"sheet", "quill-1-rear-hub-bearing", "--side", "left", "-o", file, "--at", "position:1"}, true},
		{[]string{"sheet", "quill-1-rear-hub-bearing", "--side", "left", "-o", file, "--at", "position:2"}, false},
	} {
		out := demand(t, exitClean, "", append(c.args, "--library", address)...)
		for _, want := range []string{"FOR Vessary Quill 1.4, rear brake disc", "NOT FOR rear brake drum"} {
			if !strings.Contains(out, want) {
				t.Errorf("%v does not say %q:\n%s", c.args, want, out)
			}
		}
		if c.args[0] == "sheet" {
			out += string(read(t, file))
		}
		says := strings.Contains(out, "OLD: as of position 1") && strings.Contains(out, "CHANGED SINCE") && strings.Contains(joined(out), "is now 250 N·m (184 lbf·ft)")
		if says != c.old || !c.old && strings.Contains(out, "OLD") {
			t.Errorf("%v: old is said: %v, want %v\n%s", c.args, says, c.old, out)
		}
	}
}

// What moved says for whom, in the log and in a comparison.
func TestLogSaysForWhom(t *testing.T) {
	w := openSigning(t, filepath.Join(t.TempDir(), "store.db"))
	w.change(t, 250)
	for _, args := range [][]string{{"log"}, {"diff", "position:1", "position:2"}} {
		demand(t, exitClean, "FOR Vessary Quill 1.4, rear brake disc, built up to 2019-W26\n", append(args, "--server", w.address)...)
	}
}

// A job says for whom, whole and as the tag of a vehicle that work has stopped on.
func TestJobSaysForWhom(t *testing.T) {
	j := &pb.Job{Name: "jobs/1", Title: "Rear hub", ForWhom: &pb.ForWhom{Text: "Vessary Quill 1.4", NotText: "any other vehicle"}, Tag: &pb.JobTag{}}
	for name, write := range map[string]func(*env, *pb.Job) error{"job": writeJob, "tag": writeTag} {
		var stdout, stderr screen
		if err := write(testEnv(&stdout, &stderr), j); err != nil {
			t.Fatal(err)
		}
		if out := stdout.b.String(); !strings.Contains(out, "FOR Vessary Quill 1.4\n") || !strings.Contains(out, "NOT FOR any other vehicle\n") {
			t.Errorf("%s: %s", name, out)
		}
	}
}
