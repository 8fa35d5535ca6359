package postgres

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
)

// Commits that do not wait for the disk are switched on in the database under a running
// server; what it acknowledges waits all the same. A trigger notes the setting under
// which a publication and a note were written.
func TestEachCommitWaits(t *testing.T) {
	server := pgtest.Own(t, false)
	s := openTest(t, server.Address())
	exec := func(sql string) {
		t.Helper()
		if _, err := s.reads.Exec(t.Context(), sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
	exec(`CREATE TABLE probe (what TEXT, mode TEXT)`)
	exec(`CREATE FUNCTION probing() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN INSERT INTO probe VALUES (TG_TABLE_NAME, current_setting('synchronous_commit')); RETURN NEW; END $$`)
	for _, table := range []string{"publication", "note"} {
		exec(`CREATE TRIGGER probing AFTER INSERT OR UPDATE ON ` + table + ` FOR EACH ROW EXECUTE FUNCTION probing()`)
	}
	if _, err := s.Publish(t.Context(), storetest.Publication(0, storetest.Put(t, storetest.Bolt(0, 60), 0))); err != nil {
		t.Fatal(err) // so that there is a session to write with
	}
	conf, err := os.OpenFile(filepath.Join(server.Data(), "postgresql.conf"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := conf.WriteString("\nsynchronous_commit = off\n"); err != nil || conf.Close() != nil {
		t.Fatal(err)
	}
	pid, err := os.ReadFile(filepath.Join(server.Data(), "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	first, _, _ := strings.Cut(string(pid), "\n")
	postmaster, err := strconv.Atoi(first)
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(postmaster, syscall.SIGHUP); err != nil { // it reads its settings again
		t.Fatal(err)
	}
	mode := ""
	for end := time.Now().Add(20 * time.Second); mode != "off"; time.Sleep(20 * time.Millisecond) {
		if err := s.reads.QueryRow(t.Context(), `SHOW synchronous_commit`).Scan(&mode); time.Now().After(end) {
			t.Fatalf("synchronous_commit is %q, %v", mode, err)
		}
	}
	if _, err := s.Publish(t.Context(), storetest.Publication(1, storetest.Put(t, storetest.Bolt(1, 60), 0))); err != nil {
		t.Fatal(err)
	}
	if err := s.WriteNotes(t.Context(), []store.NoteWrite{{Space: "kept", Key: "one", Body: []byte("{}"), Time: storetest.Epoch}}); err != nil {
		t.Fatal(err)
	}
	rows, err := s.reads.Query(t.Context(), `SELECT what, mode FROM probe`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	seen := 0
	for rows.Next() {
		var what, mode string
		if err := rows.Scan(&what, &mode); err != nil {
			t.Fatal(err)
		}
		if seen++; mode == "off" {
			t.Errorf("a %s was committed with synchronous_commit off", what)
		}
	}
	if rows.Err() != nil || seen < 3 {
		t.Errorf("%d commits noted: %v", seen, rows.Err())
	}
}
