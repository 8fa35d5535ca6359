package main

import (
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	pb "proofload/api/proofload/v1"
	"proofload/server/store/postgres/pgtest"
)

// A database that is put back under a running server, as a failover to a replica that
// lags behind does, is not served: no old torque is labelled as current, none of a
// position that is not there any more is given, and nothing is written. Health says so.
// When the newest database is back, it is served again.
func TestDatabaseThatWentBack(t *testing.T) {
	server := pgtest.Own(t, true)
	d := startOfficeOn(t, server.Address())
	pairs := [][2]string{{"61", "45"}, {"62", "46"}, {"64", "47"}, {"65", "48"}} // N·m and lbf·ft, 1 lbf·ft = 1.3558 N·m
	revision := int64(1)
	change := func() {
		t.Helper()
		in := propose(&pb.CorrectionChange{Record: carrier, BaseRevision: revision, MergePatch: torque(t, pairs[revision-1][0], pairs[revision-1][1])})
		in.RequestId = request()
		c := d.correction(t, "editor", "CreateCorrection", in)
		c = d.correction(t, "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{Name: c.Name, ContentHash: c.ContentHash, RequestId: request()})
		d.correction(t, "reviewer", "PublishCorrection", &pb.PublishCorrectionRequest{Name: c.Name, Etag: c.Etag, RequestId: request()})
		revision++
	}
	read := func(path string) exchange { return doAt(t, d.running, "GET", path, "") }
	change()
	kept, newest := filepath.Join(t.TempDir(), "kept"), filepath.Join(t.TempDir(), "newest")
	swap := func(steps ...[]string) {
		t.Helper()
		if err := server.Stop(syscall.SIGINT); err != nil {
			t.Fatal(err)
		}
		for _, s := range steps {
			if out, err := exec.Command(s[0], s[1:]...).CombinedOutput(); err != nil {
				t.Fatalf("%v: %v: %s", s, err, out)
			}
		}
		if err := server.Run(); err != nil {
			t.Fatal(err)
		}
		// Until the server has seen that the database is back, it refuses everything.
		for end := time.Now().Add(20 * time.Second); strings.Contains(string(read("/readyz").body), "STORE_AWAY"); time.Sleep(20 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatal("the database is back and the server does not see it")
			}
		}
	}
	data := server.Data()
	swap([]string{"cp", "-a", data, kept})
	change()
	change()
	if x := read("/v1/" + carrier); x.status != http.StatusOK || x.header.Get("Proofload-Position") != "7" || !strings.Contains(string(x.body), "64 N.m") {
		t.Fatalf("before: %d at %s", x.status, x.header.Get("Proofload-Position"))
	}
	swap([]string{"cp", "-a", data, newest}, []string{"rm", "-rf", data}, []string{"cp", "-a", kept, data})
	// From the very first request on.
	for _, path := range []string{"/v1/" + carrier, "/v1/" + carrier + "?at=position:7", "/v1/" + carrier + "/document", "/v1/vehicles/quill-1/fasteners", "/v1/search?query=carrier", "/v1/log?after=3"} {
		if x := read(path); x.status != http.StatusServiceUnavailable || !strings.Contains(string(x.body), "STORE_WENT_BACK") {
			t.Errorf("%s of a database that went back: %d %.300s", path, x.status, x.body)
		}
	}
	wait := func(status int) {
		t.Helper()
		for end := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
			x := read("/healthz")
			if x.status == status {
				return
			}
			if time.Now().After(end) {
				t.Fatalf("health: %d %s, want %d", x.status, x.body, status)
			}
		}
	}
	wait(http.StatusServiceUnavailable)
	swap([]string{"rm", "-rf", data}, []string{"cp", "-a", newest, data})
	wait(http.StatusOK)
	if x := read("/v1/" + carrier); x.status != http.StatusOK || x.header.Get("Proofload-Position") != "7" || !strings.Contains(string(x.body), "64 N.m") {
		t.Errorf("the newest again: %d at %s: %.300s", x.status, x.header.Get("Proofload-Position"), x.body)
	}
	change()
}
