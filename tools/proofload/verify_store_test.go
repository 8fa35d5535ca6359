package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/ncruces/go-sqlite3"
)

// forgeries is how many random forgeries are made in the file of a real store.
// server/audit makes thousands in memory.
var forgeries = flag.Int("forgeries", 40, "random forgeries to make in a store's file")

// backedUp returns a store's file that is not open, with some history, and a kept
// checkpoint of its end.
func backedUp(t *testing.T) (file, kept string) {
	t.Helper()
	w := openSigning(t, filepath.Join(t.TempDir(), "shop.db"))
	for torque := 241; torque < 253; torque++ {
		w.change(t, torque)
	}
	kept = filepath.Join(w.dir, "kept.txt")
	demand(t, exitClean, "position 13", "verify", "--server", w.address, "--checkpoint", kept)
	if err := w.store.Close(); err != nil {
		t.Fatal(err)
	}
	return w.file, kept
}

// forge changes a copy of a store's file behind its back.
func forge(t *testing.T, file string, statements ...string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "forged.db")
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(file + end)
		if os.IsNotExist(err) && end != "" {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(out+end, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	c, err := sqlite3.Open("file:" + filepath.ToSlash(out))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	for _, s := range statements {
		if err := c.Exec(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
		if c.Changes() == 0 {
			t.Fatalf("%s changed nothing", s)
		}
	}
	return out
}

// What is changed in the file of a store is found, named and told apart; the file is
// not touched by looking.
func TestVerifyStore(t *testing.T) {
	file, kept := backedUp(t)
	store := func(f string) string { return "sqlite:" + f }
	before := read(t, file)
	demand(t, exitClean, "1 kept checkpoint fits", "verify", "--store", store(file), "--checkpoint", kept)
	demand(t, exitClean, "agree with the hashes stored beside them", "verify", "--store", store(file))
	if string(read(t, file)) != string(before) {
		t.Error("looking at a store changed it")
	}
	// Leaves of the first position come first; the hub nut's later revisions follow.
	last := strings.Fields(string(read(t, kept)))[1]
	size := 0
	fmt.Sscan(last, &size)
	second := size - 12 // row of the last leaf of position 1; rows count from 1
	for _, c := range []struct {
		name string
		sql  []string
		says []string
	}{
		{"author", []string{fmt.Sprintf(`UPDATE revision SET authors = '["mallory"]' WHERE leaf = %d`, second+3)}, []string{fmt.Sprintf("changed: leaf %d, now %s revision 4 of position 4", second+2, hubNut)}},
		{"reviewer", []string{fmt.Sprintf(`UPDATE revision SET reviewer = 'mallory' WHERE leaf = %d`, second+3)}, []string{"changed: leaf"}},
		{"reason", []string{fmt.Sprintf(`UPDATE revision SET reason = 'because' WHERE leaf = %d`, second+3)}, []string{"changed: leaf"}},
		{"time", []string{fmt.Sprintf(`UPDATE revision SET time = time + 1 WHERE leaf = %d`, second+3)}, []string{"changed: leaf"}},
		{"withdrawn", []string{fmt.Sprintf(`UPDATE revision SET withdrawn = 1 WHERE leaf = %d`, second+3)}, []string{"changed: leaf"}},
		{"document", []string{fmt.Sprintf(`UPDATE revision SET document = CAST(replace(CAST(document AS TEXT), '24', '42') AS BLOB) WHERE leaf = %d`, second+3)}, []string{"damaged: leaf", string(hubNut) + " revision 4", "does not have the hash"}},
		{"document and hash", []string{fmt.Sprintf(`UPDATE revision SET (document, hash) = (SELECT document, hash FROM revision WHERE leaf = %d) WHERE leaf = %d`, second+2, second+3)}, []string{fmt.Sprintf("changed: leaf %d, now %s revision 4", second+2, hubNut)}},
		{"dropped", []string{`PRAGMA foreign_keys = OFF; DELETE FROM revision WHERE leaf = ` + fmt.Sprint(second+3)}, []string{fmt.Sprintf("damaged: leaf %d", second+2), "its row is gone", "it was " + string(hubNut) + " revision 4"}},
		{"swapped", []string{
			fmt.Sprintf(`PRAGMA foreign_keys = OFF; UPDATE revision SET (name, number, hash, document) = (SELECT name, number, hash, document FROM (SELECT * FROM revision WHERE leaf = %d) AS o) WHERE leaf = %d`, 3, 2)}, []string{"leaf"}},
		{"an inner hash", []string{`UPDATE revision SET tree = CAST(substr(tree, 1, 32) || randomblob(length(tree) - 32) AS BLOB) WHERE leaf = 4`}, []string{"tree broken", "over leaves", "the revisions themselves are as published"}},
		{"a leaf's own hash", []string{`UPDATE revision SET tree = randomblob(length(tree)) WHERE leaf = 5`}, []string{"leaf 4"}},
		{"truncated", []string{fmt.Sprintf(`PRAGMA foreign_keys = OFF; DELETE FROM revision WHERE leaf > %d`, second+9)}, []string{"rolled back", "3 were cut off"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			forged := forge(t, file, c.sql...)
			args := []string{"verify", "--store", store(forged)}
			if c.name == "truncated" { // only who kept something can tell
				args = append(args, "--checkpoint", kept)
			}
			code, said := proofload(t, args...)
			if code != exitFindings {
				t.Errorf("exit %d: %s", code, said)
			}
			for _, want := range c.says {
				if !strings.Contains(said, want) {
					t.Errorf("it does not say %q:\n%s", want, said)
				}
			}
		})
	}
	demand(t, exitUsage, "does not exist", "verify", "--store", "sqlite:nowhere.db")
	demand(t, exitUsage, "allowed: sqlite:FILE", "verify", "--store", "backup.db")
	demand(t, exitBroken, kept+": the file is not a proofload store", "verify", "--store", store(kept))
}

// Random changes of random columns of random rows are found in a real file.
func TestForgeriesInAFile(t *testing.T) {
	file, kept := backedUp(t)
	rows := 0
	fmt.Sscan(strings.Fields(string(read(t, kept)))[1], &rows)
	random := rand.New(rand.NewPCG(1, 7))
	columns := map[string]string{
		"name": `name || 'x'`, "number": `number + 1`, "position": `position + 1`, "withdrawn": `1 - withdrawn`, "hash": `randomblob(32)`, "document": `CAST(document || ' ' AS BLOB)`,
		"time": `time + 1000`, "authors": `'["mallory"]'`, "reviewer": `reviewer || 'x'`, "reason": `reason || 'x'`, "tree": `randomblob(length(tree))`,
	}
	names := []string{"authors", "document", "hash", "name", "number", "position", "reason", "reviewer", "time", "tree", "withdrawn"}
	found := map[string]int{}
	for n := range *forgeries {
		column := names[n%len(names)]
		// Who, why and when stand in the first row of a publication.
		row := 1 + random.IntN(rows)
		if slices.Contains([]string{"time", "authors", "reviewer", "reason"}, column) {
			row = 0
		}
		where := fmt.Sprintf(`leaf = %d`, row)
		if row == 0 {
			where = fmt.Sprintf(`leaf = (SELECT leaf FROM revision WHERE time IS NOT NULL ORDER BY leaf LIMIT 1 OFFSET %d)`, random.IntN(13))
		}
		sql := fmt.Sprintf(`PRAGMA ignore_check_constraints = ON; PRAGMA foreign_keys = OFF; UPDATE revision SET %s = %s WHERE %s`, column, columns[column], where)
		code, said := proofload(t, "verify", "--store", "sqlite:"+forge(t, file, sql), "--checkpoint", kept)
		if code != exitFindings {
			t.Errorf("%s: exit %d: %s", sql, code, said)
		}
		found[strings.SplitN(said, ":", 2)[0]]++
	}
	t.Logf("%d forgeries: %v", *forgeries, found)
}
