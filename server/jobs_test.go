package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "proofload/api/proofload/v1"
	"proofload/server/fault"
)

// openJob opens the job that the tests of jobs work on, over REST.
func openJob(t *testing.T, d *office) *pb.Job {
	t.Helper()
	return d.jobAt(t, "POST", "/v1/jobs", `{"procedure":"procedures/quill-1-rear-hub-bearing","vehicle":"quill-1","options":["rear_brake=disc"],"built":"2018-W10","side":"left","plate":"QL 18 ABC","order":"A-100"}`, 200)
}

func (d *office) jobAt(t *testing.T, verb, path, body string, status int) *pb.Job {
	t.Helper()
	x := doAt(t, d.running, verb, path, body, append(d.bearer("editor"), "Content-Type", "application/json")...)
	if x.status != status {
		t.Fatalf("%s %s: %d %s", verb, path, x.status, x.body)
	}
	var j pb.Job
	if status == 200 {
		if err := protojson.Unmarshal(x.body, &j); err != nil {
			t.Fatal(err)
		}
	}
	return &j
}

// Every method of jobs needs a token, over both wires, and erasing that of an admin.
func TestJobsNeedATokenOnBothWires(t *testing.T) {
	d := startOffice(t)
	j := openJob(t, d)
	methods := pb.File_proofload_v1_jobs_proto.Services().ByName("Jobs").Methods()
	asked := 0
	for _, c := range []struct {
		method, verb, path, body string
		in, out                  proto.Message
		role                     string
	}{
		{"CreateJob", "POST", "/v1/jobs", `{"procedure":"procedures/quill-1-rear-hub-bearing"}`, &pb.CreateJobRequest{Job: &pb.Job{Procedure: "procedures/quill-1-rear-hub-bearing"}}, &pb.Job{}, "editor"},
		{"GetJob", "GET", "/v1/" + j.Name, "", &pb.GetJobRequest{Name: j.Name}, &pb.Job{}, "editor"},
		{"ListJobs", "GET", "/v1/jobs?state=open", "", &pb.ListJobsRequest{State: "open"}, &pb.ListJobsResponse{}, "editor"},
		{"RecordJob", "POST", "/v1/" + j.Name + ":record", `{"events":[{"request_id":"x","kind":"ticked","step":99}]}`, &pb.RecordJobRequest{Name: j.Name, Events: []*pb.JobEvent{{RequestId: "x", Kind: "ticked", Step: 99}}}, &pb.RecordJobResponse{}, "editor"},
		{"GetJobExport", "GET", "/v1/" + j.Name + "/export", "", &pb.GetJobExportRequest{Name: j.Name + "/export"}, &pb.JobExport{}, "editor"},
		{"ListMovedJobs", "GET", "/v1/jobs:moved", "", &pb.ListMovedJobsRequest{}, &pb.ListMovedJobsResponse{}, "editor"},
		{"EraseJob", "POST", "/v1/" + j.Name + ":erase", `{"what":"nothing"}`, &pb.EraseJobRequest{Name: j.Name, What: "nothing"}, &pb.Job{}, "admin"},
	} {
		asked++
		for _, role := range []string{"", "editor", c.role} {
			x := doAt(t, d.running, c.verb, c.path, c.body, append(d.bearer(role), "Content-Type", "application/json")...)
			ctx := metadata.AppendToOutgoingContext(t.Context(), d.bearer(role)...)
			out := proto.Clone(c.out)
			err := d.conn.Invoke(ctx, "/proofload.v1.Jobs/"+c.method, c.in, out)
			if role == "" || role != c.role {
				want := map[bool]fault.Kind{true: fault.TokenMissing, false: fault.RoleRequired}[role == ""]
				var problem struct{ Reason string }
				json.Unmarshal(x.body, &problem)
				if fault.From(err).Kind != want || problem.Reason != string(want) {
					t.Errorf("%s as %q: gRPC %v, REST %d %s, want %s", c.method, role, err, x.status, x.body, want)
				}
				continue
			}
			if err != nil {
				sameFault(t, c.method, err, x)
				continue
			}
			over := proto.Clone(c.out)
			if uerr := protojson.Unmarshal(x.body, over); uerr != nil || x.status != 200 {
				t.Errorf("%s: REST %d %s", c.method, x.status, x.body)
				continue
			}
			if !proto.Equal(out, over) {
				t.Errorf("%s differs: gRPC %s\nREST %s", c.method, protojson.Format(out), x.body)
			}
		}
	}
	if asked != methods.Len() {
		t.Errorf("%d methods asked of %d", asked, methods.Len())
	}
}

// A job over REST: what the state forbids is refused and not kept, an event sent twice
// is kept once, and the job is there after a restart.
func TestJobOverREST(t *testing.T) {
	d := startOffice(t)
	j := openJob(t, d)
	if j.State != "open" || j.Next != 1 || len(j.Steps) < 20 || !strings.Contains(j.ForWhom.Text, "rear brake disc") || !strings.Contains(j.ForWhom.NotText, "drum") {
		t.Errorf("a new job is %s", protojson.Format(j))
	}
	record := func(events ...string) *pb.RecordJobResponse {
		t.Helper()
		x := doAt(t, d.running, "POST", "/v1/"+j.Name+":record", `{"events":[`+strings.Join(events, ",")+`]}`, append(d.bearer("editor"), "Content-Type", "application/json")...)
		var out pb.RecordJobResponse
		if err := protojson.Unmarshal(x.body, &out); err != nil || x.status != 200 {
			t.Fatalf("%d %s", x.status, x.body)
		}
		return &out
	}
	tick := func(id string, n int) string {
		return fmt.Sprintf(`{"request_id":%q,"kind":"ticked","step":%d}`, id, n)
	}
	out := record(tick("a", 1), tick("b", 10), tick("c", 2))
	if out.Events[0].Number != 2 || out.Events[1].Refused == "" || out.Events[2].Number != 3 || out.Job.Next != 3 || len(out.Job.Open) == 0 {
		t.Errorf("three ticks are answered with %s", protojson.Format(out))
	}
	again := record(tick("a", 1), tick("c", 2))
	if len(again.Job.Events) != 3 || again.Events[1].Number != 3 {
		t.Errorf("the same ticks again are answered with %s", protojson.Format(again))
	}
	for path, want := range map[string]int{"/v1/jobs/20200101-000000-aaaaaa": 404, "/v1/jobs/x": 404, "/v1/jobs?state=done": 400, "/v1/jobs?page_size=-1": 400} {
		if x := doAt(t, d.running, "GET", path, "", d.bearer("editor")...); x.status != want {
			t.Errorf("%s: %d %s", path, x.status, x.body)
		}
	}
	d.jobAt(t, "POST", "/v1/jobs", `{"procedure":"procedures/quill-1-rear-hub-bearing","vehicle":"quill-1","side":"left"}`, http.StatusBadRequest)
}
