package main

import (
	"encoding/json"
	"strings"
	"testing"

	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "proofload/api/proofload/v1"
	"proofload/server/fault"
)

const spokenHub = `WEBVTT

00:00:01.000 --> 00:00:06.000
Carrier bolts, start them by hand, then sixty-two newton metres, forty-six foot pounds.

00:00:07.000 --> 00:00:12.000
And the wheel nuts, on the ground, in a cross, to one-forty newton metres.
`

// narrated posts a message over REST and reads the answer.
func (d *office) narrated(t *testing.T, role, path string, in, out proto.Message) (int, *fault.Error) {
	t.Helper()
	body, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	x := doAt(t, d.running, "POST", path, string(body), append(d.bearer(role), "Content-Type", "application/json")...)
	if x.status/100 != 2 {
		var p fault.Problem
		if err := json.Unmarshal(x.body, &p); err != nil {
			t.Fatalf("%s: %d %s", path, x.status, x.body)
		}
		return x.status, fault.New(fault.Kind(p.Reason), "%s", p.Detail)
	}
	if err := protojson.Unmarshal(x.body, out); err != nil {
		t.Fatalf("%s: %v: %s", path, err, x.body)
	}
	return x.status, nil
}

// A transcript is judged alike over both wires, with the seconds of each finding, and both
// tracks come with it.
func TestCheckNarration(t *testing.T) {
	d := startOffice(t)
	in := &pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "hub.vtt", Text: spokenHub, Side: "left", Tracks: true}
	var over pb.CheckNarrationResponse
	if status, f := d.narrated(t, "", "/v1/narrations:check", in, &over); f != nil {
		t.Fatal(status, f)
	}
	out, err := pb.NewNarrationsClient(d.conn).CheckNarration(t.Context(), in)
	if err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(out, &over) {
		t.Errorf("gRPC %v\nREST %v", out, &over)
	}
	found := false
	for _, f := range out.Findings {
		found = found || f.Kind == "number" && f.StartSeconds == 7 && f.EndSeconds == 12 && f.Line == 7 && f.Record == "fasteners/quill-1-wheel-nut" && f.Severity == "error"
	}
	if !found || out.Position != 1 || len(out.Values) != 2 || out.Values[0].StartSeconds != 1 {
		t.Errorf("one-forty of wheel nuts with 110 N·m is not found at 7 s: %v", out)
	}
	if !strings.Contains(out.Callouts, "<c.value>62 N·m</c>") || !strings.HasPrefix(out.Chapters, "WEBVTT") {
		t.Errorf("tracks: %q %q", out.Callouts, out.Chapters)
	}
}

// What cannot be read is refused with line and column, what is too long with the limit.
func TestNarrationsThatCannotBeRead(t *testing.T) {
	d := startOffice(t)
	for name, x := range map[string]struct {
		in   *pb.CheckNarrationRequest
		kind fault.Kind
		says string
	}{
		"reversed":     {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "a.vtt", Text: "WEBVTT\n\n00:09.000 --> 00:08.000\nhello\n"}, fault.InvalidArgument, "line 3, column 1"},
		"overlapping":  {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "a.srt", Text: "1\n00:00:01,000 --> 00:00:05,000\na\n\n2\n00:00:04,000 --> 00:00:06,000\nb\n"}, fault.InvalidArgument, "line 6, column 1"},
		"no cues":      {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "a.vtt", Text: "WEBVTT\n"}, fault.InvalidArgument, "no cues"},
		"no marks":     {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "a.txt", Text: "hello"}, fault.InvalidArgument, "line 1, column 1"},
		"zero":         {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "a.txt", Text: "[0:01] h\x00llo"}, fault.InvalidArgument, "line 1, column 9"},
		"no kind":      {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "a.mp4", Text: "hello"}, fault.InvalidArgument, ".vtt"},
		"no text":      {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "a.vtt"}, fault.InvalidArgument, "text is missing"},
		"too long":     {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "a.txt", Text: "[0:01] " + strings.Repeat("oil ", 200_000)}, fault.LimitSize, "allowed: 786432"},
		"no procedure": {&pb.CheckNarrationRequest{Procedure: "procedures/none-such", File: "hub.vtt", Text: spokenHub}, fault.RecordNotFound, "none-such"},
		"wrong side":   {&pb.CheckNarrationRequest{Procedure: "procedures/quill-1-rear-hub-bearing", File: "hub.vtt", Text: spokenHub, Side: "middle"}, fault.InvalidArgument, "middle"},
	} {
		if _, f := d.narrated(t, "", "/v1/narrations:check", x.in, nil); f == nil || f.Kind != x.kind || !strings.Contains(f.Message, x.says) {
			t.Errorf("%s over REST: %v; want %s with %q", name, f, x.kind, x.says)
		}
		_, err := pb.NewNarrationsClient(d.conn).CheckNarration(t.Context(), x.in)
		if f := fault.From(err); err == nil || f.Kind != x.kind || !strings.Contains(f.Message, x.says) {
			t.Errorf("%s over gRPC: %v; want %s with %q", name, err, x.kind, x.says)
		}
	}
}

// A kept narration is named, with the times, by the reach of a correction that moves a
// value said in it, and by no other.
func TestReachNamesNarrations(t *testing.T) {
	d := startOffice(t)
	in := &pb.Narration{Procedure: "procedures/quill-1-rear-hub-bearing", Reference: "https://videos.example/hub", File: "hub.vtt", Text: spokenHub, Side: "left"}
	var kept, again pb.Narration
	if status, f := d.narrated(t, "editor", "/v1/narrations?request_id=7d3c2a8e-1111-4222-8333-444455556666", in, &kept); f != nil {
		t.Fatal(status, f)
	}
	if _, f := d.narrated(t, "editor", "/v1/narrations?request_id=7d3c2a8e-1111-4222-8333-444455556666", in, &again); f != nil || again.Name != kept.Name {
		t.Errorf("sent again it is %q (%v), first it was %q", again.Name, f, kept.Name)
	}
	if kept.Text != "" || kept.KeptBy != "Maud Ibbot" || len(kept.Hash) != 64 || len(kept.Values) != 2 || kept.ErrorCount == 0 {
		t.Errorf("kept is %v", &kept)
	}
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", d.bearer("editor")[1])
	client := pb.NewNarrationsClient(d.conn)
	for record, want := range map[string]int{"": 1, "procedures/quill-1-rear-hub-bearing": 1, "fasteners/quill-1-rear-carrier-bolt": 1, "fasteners/quill-1-rear-hub-nut": 0} {
		l, err := client.ListNarrations(ctx, &pb.ListNarrationsRequest{Record: record})
		if err != nil || len(l.Narrations) != want {
			t.Errorf("narrations of %q: %v %v, want %d", record, l, err, want)
		}
	}
	if n, err := client.GetNarration(ctx, &pb.GetNarrationRequest{Name: kept.Name}); err != nil || len(n.Values) != 2 || n.Hash != kept.Hash {
		t.Errorf("read: %v %v", n, err)
	}
	correction := func(name, pointer, value string) *pb.CorrectionReach {
		c := d.correction(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: name, BaseRevision: 1, MergePatch: torque(t, value, pointer)}))
		return d.ask(t, "", "GetCorrectionReach", &pb.GetCorrectionReachRequest{Name: c.Name + "/reach"}).message.(*pb.CorrectionReach)
	}
	reach := correction(carrier, "47", "64")
	if len(reach.Narrations) != 1 || reach.Narrations[0].Narration != kept.Name || reach.Narrations[0].Reference != in.Reference || len(reach.Narrations[0].Values) != 2 ||
		reach.Narrations[0].Values[0].StartSeconds != 1 || !strings.Contains(reach.Narrations[0].Values[0].Said, "sixty-two") {
		t.Errorf("reach of the carrier bolt names %v", reach.Narrations)
	}
	if _, err := client.RemoveNarration(ctx, &pb.RemoveNarrationRequest{Name: kept.Name}); err != nil {
		t.Error(err)
	}
	if _, err := client.GetNarration(ctx, &pb.GetNarrationRequest{Name: kept.Name}); err == nil || fault.From(err).Kind != fault.NarrationNotFound {
		t.Errorf("removed and still there: %v", err)
	}
}
