package main

import (
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"proofload/server/web"
)

var pictures = flag.String("pictures", "", "a folder for screenshots of every page")

// browse runs a script of testdata/browser in a real chromium and reports the
// problems it prints. Without Node.js, chromium or the packages of
// testdata/npm it skips with one line; CI has to have them.
func browse(t *testing.T, script string, input map[string]any) {
	t.Helper()
	missing := ""
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		missing = "chromium"
	}
	if _, err := exec.LookPath("node"); err != nil {
		missing = "node"
	}
	npm, err := filepath.Abs(filepath.Join("..", "testdata", "npm"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(npm, "node_modules", "playwright-core")); err != nil && missing == "" {
		missing = "npm ci --prefix testdata/npm"
	}
	if missing != "" {
		if os.Getenv("CI") == "true" {
			t.Fatalf("the pages are not tested in a browser: %s is missing", missing)
		}
		t.Skipf("THE PAGES ARE NOT TESTED IN A BROWSER: %s is missing", missing)
	}
	input["chromium"], input["pictures"], input["npm"] = chromium, *pictures, npm
	if *pictures != "" {
		if err := os.MkdirAll(*pictures, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	raw, err := json.Marshal(input)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "node", script, string(raw))
	cmd.Dir = filepath.Join("testdata", "browser")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v", script, err)
	}
	var problems []string
	if err := json.Unmarshal(out, &problems); err != nil {
		t.Fatalf("%s printed %q: %v", script, out, err)
	}
	for _, p := range problems {
		t.Error(p)
	}
}

// samples are addresses of every page, by the pattern that answers them.
var samples = map[string][]string{
	"GET /{$}":                     {"/", "/?vehicle=vessary+2019", "/?vehicle=0VCAB1246JV004711"},
	"GET /style.css":               {},
	"GET /search":                  {"/search?query=hub+nut", "/search?query=nothing+at+all"},
	"GET /vehicles/{id}":           {"/vehicles/quill-1", "/vehicles/quill-1?rear_brake=disc&built=2019-W20&side=left", "/vehicles/pell-1?place=cylinder+head", "/vehicles/quill-1?place=nowhere"},
	"GET /fasteners/{id}":          {"/fasteners/quill-1-rear-hub-nut", "/fasteners/pell-1-rod-cap-bolt", "/fasteners/pell-1-cylinder-head-bolt", "/fasteners/brindle-3-axle-cover-bolt", "/fasteners/quill-1-wheel-nut"},
	"GET /assemblies/{id}":         {"/assemblies/quill-1-rear-hub-disc"},
	"GET /procedures/{id}":         {"/procedures/quill-1-rear-hub-bearing", "/procedures/pell-1-cylinder-head-refit"},
	"GET /sources/{id}":            {"/sources/quill-chassis-2018"},
	"GET /procedures/{id}/present": {"/procedures/pell-1-cylinder-head-refit/present", "/procedures/quill-1-rear-hub-bearing/present?step=15"},
	"GET /releases":                {"/releases"},
	"GET /diff":                    {"/diff?from=position:1&to=position:2"},
	"GET /corrections":             {"/corrections", "/corrections?state="},
	"GET /corrections/{id}":        {},
	"GET /checks":                  {"/checks"},
	"GET /sign-in":                 {"/sign-in"}, "GET /bay.js": {}, "GET /worker.js": {}, "GET /edit.js": {}, "GET /live.js": {}, "GET /corrections/new": {},
	// These ask to sign in; the test of a whole job has them.
	"GET /jobs": {}, "GET /jobs/new": {}, "GET /jobs/moved": {}, "GET /jobs/{id}": {}, "GET /jobs/{id}/tag": {}, "GET /jobs/{id}/dates.ics": {},
	"GET /checks/{code}":           {},
	"GET /vehicles/{id}/history":   {"/vehicles/quill-1/history"},
	"GET /fasteners/{id}/history":  {"/fasteners/" + strings.TrimPrefix(carrier, "fasteners/") + "/history"},
	"GET /assemblies/{id}/history": {"/assemblies/quill-1-rear-hub-disc/history"},
	"GET /procedures/{id}/history": {"/procedures/quill-1-rear-hub-bearing/history"},
	"GET /sources/{id}/history":    {"/sources/quill-chassis-2018/history"},
}

// Every page, at the widths of phones, a tablet and a desk: nothing scrolls sideways,
// axe finds nothing, the console is empty, the page says for which vehicle it is. Then
// a technician's way to a value and a sheet, on a phone.
func TestPagesInABrowser(t *testing.T) {
	r, _ := proving(t)
	tokens := givenTokens.FindAllStringSubmatch(r.greeting, -1)
	if len(tokens) != 3 {
		t.Fatalf("greeting is %q", r.greeting)
	}
	made := doAt(t, r, "PATCH", "/v1/"+carrier+"/document", `{"note":"cleaned first"}`, "Authorization", "Bearer "+tokens[0][2], "Content-Type", "application/merge-patch+json",
		"If-Match", doAt(t, r, "GET", "/v1/"+carrier+"/document", "").header.Get("ETag"), "Proofload-Reason", "a remark for the shop")
	if made.status != 201 {
		t.Fatalf("%d %s", made.status, made.body)
	}
	_, code := print(t, r, "quill-1-rear-hub-bearing/sheet?format=html&side=left&at=position:1")
	paths := []string{"/fasteners/quill-1-rear-hub-nut?at=position:1", "/vehicles/quill-1?at=position:1", "/checks/" + code, strings.TrimPrefix(made.header.Get("Location"), "/v1")}
	for _, pattern := range (&web.Pages{}).Addresses() {
		if strings.HasPrefix(pattern, "POST ") {
			continue // a form that another page has
		}
		at, ok := samples[pattern]
		if !ok {
			t.Errorf("page %s has no sample here", pattern)
		}
		paths = append(paths, at...)
	}
	failing := map[string]int{
		"/nowhere": 404, "/fasteners/quill-1-rear-hub-nutt": 404, "/vehicles/quill-1?built=June": 400, "/checks/PL-15MZ-7K2Q-9RXD": 400, "/fasteners/quill-1-rear-hub-nut?at=position:99": 400,
	}
	for path := range failing {
		paths = append(paths, path)
	}
	browse(t, "pages.mjs", map[string]any{"base": "http://" + r.http, "paths": paths, "failing": failing})
}

// A whole job in a real browser: the door, steps by keyboard, a tick the state forbids, a
// stop and a hand-over, the network away, the server killed in the middle. Nothing is
// lost, nothing is doubled.
func TestJobInABrowser(t *testing.T) {
	browse(t, "job.mjs", map[string]any{"server": os.Args[0], "variable": asServer, "store": "sqlite:" + filepath.Join(t.TempDir(), "job.db")})
}

// A correction in a real browser: an impossible value is found while it is written, a
// possible one is proposed, approved and published by another, and an open page shows it
// without being loaded again.
func TestDeskInABrowser(t *testing.T) {
	d := startOffice(t)
	browse(t, "desk.mjs", map[string]any{
		"base": "http://" + d.http, "record": carrier, "editor": d.tokens["editor"], "reviewer": d.tokens["reviewer"],
	})
}
