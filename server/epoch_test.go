package main

import (
	"bufio"
	"context"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "proofload/api/proofload/v1"
	"proofload/server/store"
	"proofload/server/store/address"
	"proofload/server/store/guard"
)

// After a restore every answer carries the epoch, a client or watcher of the epoch
// before is refused where its position is gone, and served where it is not.
func TestEpoch(t *testing.T) {
	d := startOffice(t)
	name := d.store
	cached := map[string]string{} // by a client, before the restore
	for _, path := range []string{"/v1/" + carrier, "/v1/" + carrier + "/document", "/v1/vehicles", "/v1/vehicles/quill-1/fasteners", "/v1/openapi.json"} {
		cached[path] = doAt(t, d.running, "GET", path, "").header.Get("ETag")
	}
	d.running.signals <- syscall.SIGTERM
	if err := <-d.running.done; err != nil {
		t.Fatal(err)
	}
	d.running.done <- nil // for who waits at the end of the test
	a, err := address.Parse(name)
	if err != nil {
		t.Fatal(err)
	}
	s, err := a.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := guard.WriteEpoch(t.Context(), s, store.Epoch{Number: 2, Position: 1, Lost: 5, Time: time.Now()}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	r := start(t, "--store", name)
	for _, path := range []string{"/v1/" + carrier, "/v1/" + carrier + "/document", "/v1/log", "/v1/fasteners/none", "/healthz"} {
		if x := doAt(t, r, "GET", path, ""); x.header.Get("Proofload-Epoch") != "2" {
			t.Errorf("%s: epoch %q", path, x.header.Get("Proofload-Epoch"))
		}
		if path == "/healthz" {
			continue // health is told to everybody
		}
		if x := doAt(t, r, "GET", path, "", "Proofload-Epoch", "1"); x.status != http.StatusPreconditionFailed || !strings.Contains(string(x.body), "STORE_RESTORED") {
			t.Errorf("%s by a client of epoch 1: %d %s", path, x.status, x.body)
		}
	}
	// No answer that was cached before is taken for the present one.
	seen := 0
	for path, tag := range cached {
		if tag == "" {
			continue
		}
		seen++
		x := doAt(t, r, "GET", path, "", "If-None-Match", tag)
		now := x.header.Get("ETag")
		if x.status != http.StatusOK || !strings.HasSuffix(now, `-e2"`) {
			t.Errorf("%s by the tag %s of before: %d, tag %s", path, tag, x.status, now)
		}
		for _, sent := range []string{now, tag + ", " + now, "*"} {
			if x := doAt(t, r, "GET", path, "", "If-None-Match", sent); x.status != http.StatusNotModified && sent != "*" {
				t.Errorf("%s by its tags %s: %d", path, sent, x.status)
			}
		}
	}
	if seen < 2 {
		t.Errorf("only %d answers have tags: %v", seen, cached)
	}
	patch := func(tag string) exchange {
		return doAt(t, r, "PATCH", "/v1/"+carrier+"/document", `{"note":"cleaned"}`, append(d.bearer("editor"), "Content-Type", "application/merge-patch+json", "If-Match", tag, "Proofload-Reason", "read once more")...)
	}
	if x := patch(cached["/v1/"+carrier+"/document"]); x.status != http.StatusPreconditionFailed {
		t.Errorf("a write against a document of before: %d %s", x.status, x.body)
	}
	if x := patch(doAt(t, r, "GET", "/v1/"+carrier+"/document", "").header.Get("ETag")); x.status != http.StatusCreated {
		t.Errorf("a write against the document of now: %d %s", x.status, x.body)
	}
	if x := doAt(t, r, "GET", "/v1/"+carrier, "", "Proofload-Epoch", "2"); x.status != http.StatusOK {
		t.Errorf("by a client of epoch 2: %d %s", x.status, x.body)
	}
	for id, status := range map[string]int{"1": http.StatusOK, "4": http.StatusPreconditionFailed, "1@2": http.StatusOK, "4@3": http.StatusPreconditionFailed, "x": http.StatusBadRequest} {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		req, err := http.NewRequestWithContext(ctx, "GET", "http://"+r.http+"/v1/log:watch", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Accept", "text/event-stream")
		req.Header.Set("Last-Event-ID", id)
		answer, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		if answer.StatusCode != status {
			t.Errorf("watch behind %s: %d, want %d", id, answer.StatusCode, status)
		}
		if status == http.StatusOK {
			found := ""
			for lines := bufio.NewScanner(answer.Body); lines.Scan() && found == ""; {
				found, _ = strings.CutPrefix(lines.Text(), "id: ")
				if !strings.HasPrefix(lines.Text(), "id: ") {
					found = ""
				}
			}
			if found != "1@2" {
				t.Errorf("watch behind %s: id %q, want 1@2", id, found)
			}
		}
		answer.Body.Close()
		cancel()
	}
	reader := dial(t, r) // of the Go client, that knew the library before
	known := reader.Specs
	if _, err := known.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: carrier}); err != nil || reader.Epoch() != 2 {
		t.Errorf("a new Go client: %v, epoch %d", err, reader.Epoch())
	}
	specs := pb.NewSpecsClient(dialed(t, r))
	var header metadata.MD
	if _, err := specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: carrier}, grpc.Header(&header)); err != nil || strings.Join(header.Get("proofload-epoch"), "") != "2" {
		t.Errorf("over gRPC: %v, %v", header, err)
	}
	if _, err := specs.GetFastener(metadata.AppendToOutgoingContext(t.Context(), "proofload-epoch", "1"), &pb.GetFastenerRequest{Name: carrier}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("over gRPC by a client of epoch 1: %v", err)
	}
}
