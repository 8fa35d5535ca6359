package main

import (
	"context"
	"encoding/json"
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/metadata"

	pb "proofload/api/proofload/v1"
)

// What a server does is counted, by names that stay, and told to those who may read.
func TestMetrics(t *testing.T) {
	r := start(t, "--require-token")
	token := []string{"Authorization", "Bearer " + givenTokens.FindStringSubmatch(r.greeting)[2]}
	if x := doAt(t, r, "GET", "/metrics", ""); x.status != 401 {
		t.Errorf("a stranger reads the numbers: %d", x.status)
	}
	for range 3 {
		doAt(t, r, "GET", "/v1/"+carrier, "", token...)
	}
	doAt(t, r, "GET", "/v1/fasteners/nope", "", token...)
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", token[1])
	if _, err := pb.NewSpecsClient(dialed(t, r)).GetFastener(ctx, &pb.GetFastenerRequest{Name: carrier}); err != nil {
		t.Fatal(err)
	}
	x := doAt(t, r, "GET", "/metrics", "", token...)
	for _, line := range []string{
		`proofload_http_request_duration_seconds_count{method="GET",status="200"} 3`, `proofload_http_request_duration_seconds_count{method="GET",status="404"} 1`,
		`proofload_http_request_duration_seconds_count{method="GET",status="401"} 1`, `proofload_rpc_duration_seconds_count{code="OK",method="/proofload.v1.Specs/GetFastener"} 1`,
		`proofload_store_position 1`, `proofload_store_ready 1`, `go_goroutines `, `proofload_http_sent_bytes_total{method="GET"} `,
	} {
		if !strings.Contains(string(x.body), line) {
			t.Errorf("%d: no line %s in\n%.3000s", x.status, line, regexp.MustCompile(`(?m)^(#|go_|process_).*\n`).ReplaceAll(x.body, nil))
		}
	}
}

// A request's id is in its answer and in its line of the log, with status, size, caller
// and the name that a problem gave it.
func TestRequestsAreLogged(t *testing.T) {
	r, log := startLogged(t, "--verbose", "--log", "json")
	doAt(t, r, "GET", "/v1/fasteners/nope", "", "X-Request-Id", "bay-2-0017")
	var p struct{ Instance string }
	x := doAt(t, r, "GET", "/v1/fasteners/none", "")
	if err := json.Unmarshal(x.body, &p); err != nil || p.Instance == "" {
		t.Fatal(err, string(x.body))
	}
	type line struct {
		Msg, Path, Caller, Request, Instance, Method string
		Status, Size                                 int
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	for named, told := false, false; !named || !told; {
		for text := range strings.SplitSeq(log.String(), "\n") {
			var l line
			if json.Unmarshal([]byte(text), &l) != nil || l.Msg != "http" {
				continue
			}
			named = named || l.Request == "bay-2-0017" && l.Status == 404 && l.Size > 100 && l.Caller != "" && l.Path == "/v1/fasteners/nope" && l.Method == "GET"
			told = told || l.Instance == p.Instance && l.Status == 404
		}
		if ctx.Err() != nil {
			t.Fatalf("named %t, told %t in\n%s", named, told, log.String())
		}
	}
}
