package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/transfer"
	"proofload/specdata"
	"proofload/specdata/library"
)

const wheelBolt = "fasteners/tansy-2-wheel-bolt"

// retorque publishes another torque of the wheel bolt, as two people do.
func (s *shop) retorque(torque, pair string) {
	s.t.Helper()
	s.as("Maud", exitClean, "correct", "--set", wheelBolt+":/tightening/stages/0/torque="+torque, "--set", wheelBolt+":/tightening/stages/0/also="+pair,
		"--set", wheelBolt+":/source/quote="+torque+" ("+pair+")", "--set", wheelBolt+":/source/read_on=2026-11-20", "--reason", "the wrong row of sheet 4 was read")
	s.as("Piet", exitClean, "review", "show", wheelBolt)
	s.as("Piet", exitClean, "review", "approve", wheelBolt, "--content", s.content())
	s.as("Piet", exitClean, "correct", "publish", wheelBolt)
}

// says demands that the last command printed something.
func (s *shop) says(texts ...string) {
	s.t.Helper()
	for _, text := range texts {
		if !strings.Contains(s.last, text) {
			s.t.Errorf("it does not say %q:\n%s", text, s.last)
		}
	}
}

// A release is named, the library moves on, and every way to compare and to take out
// the old moment says the same.
func TestMoments(t *testing.T) {
	s := &shop{t: t}
	s.address, s.tokens = serveDesk(t)
	s.as("Piet", exitClean, "release", "list")
	s.says("no releases yet")
	s.as("Maud", exitUsage, "release", "create", "2026-09")
	s.as("Piet", exitUsage, "release", "create", "two words")
	s.as("Piet", exitUsage, "release", "create", "2026-09", "--at", "yesterday")
	s.as("Piet", exitClean, "release", "create", "2026-09", "--note", "September books")
	s.says("releases/2026-09 is position 1, named by Piet Oram")
	s.retorque("115 N.m", "85 lbf.ft")
	s.as("Piet", exitBroken, "release", "create", "2026-09")
	s.as("", exitClean, "release", "list")
	s.says("releases/2026-09  position 1", "Piet Oram", "September books")
	s.as("", exitClean, "release", "list", "--json")
	s.says(`"position": 1`)

	// 110 N·m are 81.1 lbf·ft, 115 are 84.8 (1 lbf·ft = 1.355818 N·m, NIST SP 811, appendix
	// B.8); 115/110 is up by 4.5 %, back down by 4.3 %.
	const up = "torque up 4.5 % from 110 N·m (81 lbf·ft) to 115 N·m (85 lbf·ft)"
	s.as("", exitClean, "diff", "release:2026-09")
	s.says("release:2026-09 (position 1) to position 2: 1 record differs, 1 of them safety critical", "changed "+wheelBolt+", Wheel bolt [wheel]", "  "+up, "  /tightening/stages/0/torque: 110 N.m → 115 N.m")
	s.as("", exitClean, "diff", "now", "release:2026-09")
	s.says("torque down 4.3 % from 115 N·m (85 lbf·ft) to 110 N·m (81 lbf·ft)")
	s.as("", exitClean, "diff", "position:2", "now")
	s.says("no records differ")
	s.as("", exitClean, "diff", "position:1", "--kind", "source")
	s.says("no records differ")
	s.as("", exitClean, "diff", "position:1", "--json")
	var c comparison
	if err := json.Unmarshal([]byte(s.last), &c); err != nil || len(c.Differences) != 1 || c.Differences[0].Safety != "wheel" || c.Differences[0].Moves[0].Text != up || len(c.Differences[0].Fields) == 0 {
		t.Errorf("as JSON: %+v, %v", c, err)
	}

	old, new := filepath.Join(t.TempDir(), "old"), filepath.Join(t.TempDir(), "new")
	export := func(args ...string) {
		t.Helper()
		var stdout, stderr screen
		if code := run(context.Background(), testEnv(&stdout, &stderr), append([]string{"export", "--library", s.address}, args...)); code != exitClean {
			t.Fatalf("export %v: %d %s", args, code, stderr.b.String())
		}
	}
	export("--at", "release:2026-09", "-o", old)
	export(new)
	for _, sides := range [][2]string{{old, new}, {"release:2026-09", new}, {old, "now"}} {
		s.as("", exitClean, "diff", sides[0], sides[1])
		s.says(up, "1 record differs")
	}
	s.as("", exitClean, "diff", "release:2026-09", old)
	s.says("no records differ")
	if err := os.Remove(filepath.Join(new, "fasteners", "tansy-2-caliper-bracket-bolt.yaml")); err != nil {
		t.Fatal(err)
	}
	s.as("", exitClean, "diff", old, new)
	s.says("removed fasteners/tansy-2-caliper-bracket-bolt, Caliper bracket bolt [brake]", "2 records differ")
	s.as("", exitUsage, "diff")
	s.as("", exitUsage, "diff", "position:0")
	s.as("", exitUsage, "diff", "nowhere", "now")
	s.as("", exitUsage, "diff", "release:never")
	s.as("", exitUsage, "diff", "position:1", "--kind", "nut")
	s.as("", exitUsage, "diff", s.address)

	s.as("", exitClean, "log", "--after", "1")
	s.says("2  ", "changed "+wheelBolt+", revision 2, by Maud Ibbot, reviewed by Piet Oram: the wrong row of sheet 4 was read", "     "+up)
	s.as("", exitClean, "log", "--kind", "source", "--json")
	if lines := strings.Split(strings.TrimSpace(s.last), "\n"); len(lines) != 1 || !json.Valid([]byte(lines[0])) {
		t.Errorf("the log as JSON is %q", s.last)
	}
	s.as("", exitUsage, "log", "--after", "9")
	s.as("", exitUsage, "log", "--vehicle", "Tansy")
}

// An export of a release is clean under the rules and goes into a new store with
// the same hashes.
func TestReleaseComesBackTheSame(t *testing.T) {
	s := &shop{t: t}
	s.address, s.tokens = serveDesk(t)
	s.as("Piet", exitClean, "release", "create", "first")
	s.retorque("115 N.m", "85 lbf.ft")
	dir := filepath.Join(t.TempDir(), "first")
	var stdout, stderr screen
	for _, args := range [][]string{{"export", "--library", s.address, "--at", "release:first", "-o", dir}, {"lint", dir}} {
		if code := run(context.Background(), testEnv(&stdout, &stderr), args); code != exitClean {
			t.Fatalf("%v: %d %s%s", args, code, stdout.b.String(), stderr.b.String())
		}
	}
	if !strings.Contains(stdout.b.String(), "4 records: no findings") {
		t.Errorf("lint of the export says %q", stdout.b.String())
	}
	for _, args := range [][]string{{"export", "--library", s.address, dir}, {"export", "--library", s.address, "--at", "release:never", dir + "2"}, {"export", "--library", "here", dir + "2"}, {"export", "-o", dir, dir}, {"export", "--library", s.address, "--store", "sqlite:x", dir + "2"}} {
		if code := run(context.Background(), testEnv(&stdout, &stderr), args); code == exitClean {
			t.Errorf("%v succeeds", args)
		}
		if _, err := os.Stat(dir + "2"); err == nil {
			t.Errorf("%v made a folder", args)
		}
	}

	lib, findings, err := library.ReadFolder(os.DirFS(dir), "")
	if err != nil || len(findings) > 0 {
		t.Fatal(err, findings)
	}
	was, findings, err := library.ReadFolder(os.DirFS(filepath.Join("testdata", "library")), "")
	if err != nil || len(findings) > 0 {
		t.Fatal(err, findings)
	}
	fresh, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "fresh.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer fresh.Close()
	var entries []*library.Entry
	for _, k := range specdata.Kinds {
		entries = slices.AppendSeq(entries, lib.All(k))
	}
	pass := func(context.Context, library.Library, []specdata.Name, library.Library) ([]specdata.Finding, error) {
		return nil, nil // it was linted above
	}
	if _, err := transfer.Import(t.Context(), fresh, entries, transfer.ImportOptions{Check: pass, By: "Maud Ibbot", Reviewer: "Piet Oram", Reason: "from the export", Time: time.Now()}); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, k := range specdata.Kinds {
		revs, err := fresh.List(t.Context(), store.Query{Kind: k, Limit: store.MaxLimit}, 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range revs {
			n++
			if e := was.Get(r.Name); e == nil || e.Hash != r.Hash {
				t.Errorf("%s came back as another document", r.Name)
			}
		}
	}
	if n != was.Len() {
		t.Errorf("%d records came back, want %d", n, was.Len())
	}
}

// Following shows what is published while it runs, and ends when it is interrupted.
func TestFollow(t *testing.T) {
	s := &shop{t: t}
	s.address, s.tokens = serveDesk(t)
	var stdout, stderr screen
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, testEnv(&stdout, &stderr), []string{"log", "--follow", "--after", "0", "--name", wheelBolt, "--server", strings.TrimPrefix(s.address, "http://")})
	}()
	stdout.waitFor(t, "added "+wheelBolt+", revision 1")
	s.retorque("115 N.m", "85 lbf.ft")
	shown := stdout.waitFor(t, "torque up 4.5 %")
	if strings.Contains(shown, "caliper") || strings.Count(shown, "revision 2") != 1 {
		t.Errorf("it shows %q", shown)
	}
	cancel()
	if code := <-ended; code != exitClean {
		t.Errorf("following ends with %d %s", code, stderr.b.String())
	}
}
