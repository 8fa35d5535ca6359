package main

import (
	"bytes"
	"context"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"proofload/api/client"
	pb "proofload/api/proofload/v1"
)

// The pages of the desk show what the service says, whatever people wrote, without
// anything the content policy would refuse.
func TestDeskPages(t *testing.T) {
	d := startOffice(t)
	in := propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 1, MergePatch: torque(t, "64", "46")})
	in.Correction.Evidence = []string{`<script>alert("x")</script>`}
	c := d.correction(t, "editor", "CreateCorrection", in)
	page := func(path string) string {
		t.Helper()
		x := doAt(t, d.running, "GET", path, "", browser...)
		doc, err := html.Parse(bytes.NewReader(x.body))
		if err != nil || x.status != 200 || !strings.Contains(x.header.Get("Content-Security-Policy"), "default-src 'none'") {
			t.Fatalf("%s: %d %v %v", path, x.status, x.header, err)
		}
		for n := range doc.Descendants() {
			if n.Type == html.ElementNode && (n.Data == "script" && !ownScript(n) || n.Data == "style") {
				t.Errorf("%s has a <%s>", path, n.Data)
			}
		}
		text := html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(string(x.body), " "))
		return strings.ReplaceAll(text, "\u00a0", " ")
	}
	id := strings.TrimPrefix(c.Name, "corrections/")
	one := page("/" + c.Name)
	for _, want := range []string{
		"64 N·m", "47 lbf·ft", "torque of stage 1 up 3.2 %", "blocks publishing", "printed-pair-disagrees", "Maud Ibbot", c.ContentHash, `<script>alert("x")</script>`,
		"Rear hub bearing", "curl http://" + d.http + "/v1/" + c.Name, "proofload.v1.Corrections/GetCorrection", "proofload review approve " + id + " --content " + c.ContentHash,
	} {
		if !strings.Contains(one, want) {
			t.Errorf("page does not show %q", want)
		}
	}
	for path, shown := range map[string]bool{
		"/corrections": true, "/corrections?state=approved": false, "/corrections?state=": true, "/corrections?record=" + carrier: true, "/corrections?record=fasteners/quill-1-rear-hub-nut": false,
	} {
		if strings.Contains(page(path), id) != shown {
			t.Errorf("%s: shown is not %t", path, shown)
		}
	}
	for path, status := range map[string]int{"/corrections/20200101-000000-000aaaaa": 404, "/corrections/x": 404, "/corrections?state=done": 400, "/corrections?page_token=AAAA": 400} {
		if x := doAt(t, d.running, "GET", path, "", browser...); x.status != status {
			t.Errorf("%s: %d, want %d", path, x.status, status)
		}
	}
	if !strings.Contains(page("/"), "Corrections") {
		t.Error("the first page does not lead to the desk")
	}
}

// Who read a value under a token learns of when it moves; who read without one is
// nobody's business.
func TestReadersAreReached(t *testing.T) {
	name := "sqlite:" + filepath.Join(t.TempDir(), "readers.db")
	ctx, cancel := context.WithCancel(context.Background())
	r, err := launch(ctx, "--store", name)
	if err != nil {
		cancel()
		t.Fatal(err)
	}
	tokens := givenTokens.FindAllStringSubmatch(r.greeting, -1)
	if len(tokens) != 3 {
		t.Fatalf("greeting is %q", r.greeting)
	}
	const overREST, overGRPC, unread = carrier, "fasteners/quill-1-rear-hub-nut", "fasteners/brindle-3-axle-cover-bolt"
	c, err := client.Dial(r.grpc, client.WithToken(tokens[1][2]))
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // from the store, then kept ready
		doAt(t, r, "GET", "/v1/"+unread, "")
		if x := doAt(t, r, "GET", "/v1/"+overREST, "", "Authorization", "Bearer "+tokens[0][2]); x.status != 200 {
			t.Errorf("%d %s", x.status, x.body)
		}
		if _, err := c.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: overGRPC}); err != nil {
			t.Error(err)
		}
	}
	c.Close()
	cancel() // what was noted is written at the latest when the server stops
	if err := <-r.done; err != nil {
		t.Fatal(err)
	}
	ctx, cancel = context.WithCancel(context.Background())
	defer cancel()
	if r, err = launch(ctx, "--store", name); err != nil {
		t.Fatal(err)
	}
	defer func() { cancel(); <-r.done }()
	for record, readers := range map[string]int{overREST: 1, overGRPC: 1, unread: 0} {
		tag := doAt(t, r, "GET", "/v1/"+record+"/document", "").header.Get("ETag")
		made := doAt(t, r, "PATCH", "/v1/"+record+"/document", `{"note":"cleaned first"}`, "Authorization", "Bearer "+tokens[0][2],
			"Content-Type", "application/merge-patch+json", "If-Match", tag, "Proofload-Reason", "a remark for the shop")
		if made.status != 201 {
			t.Fatalf("%s: %d %s", record, made.status, made.body)
		}
		reach := doAt(t, r, "GET", made.header.Get("Location")+"/reach", "")
		if got := bytes.Count(reach.body, []byte(`"token":"tokens/`)); reach.status != 200 || got != readers {
			t.Errorf("%s has %d readers, want %d: %s", record, got, readers, reach.body)
		}
	}
}
