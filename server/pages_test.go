package main

import (
	"bytes"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"proofload/specdata"
)

var browser = []string{"Accept", "text/html,application/xhtml+xml,*/*;q=0.8"}

// Every page of the library is there, says what must be said, and has nothing that
// the strict content policy would refuse; every link of a page leads somewhere.
func TestPages(t *testing.T) {
	paths := []string{"/", "/search?query=hub+nut", "/vehicles/quill-1?rear_brake=disc&built=2019-W30&side=left", "/vehicles/quill-1?at=position:1", "/fasteners/quill-1-rear-hub-nut?at=position:1"}
	lib := demoLibrary(t)
	for _, k := range specdata.Kinds {
		n := 0
		for e := range lib.All(k) {
			if n++; n <= 8 {
				paths = append(paths, "/"+string(e.Name()))
			}
		}
	}
	seen := map[string]bool{}
	for _, path := range paths {
		x := do(t, "GET", path, "", browser...)
		if x.status != http.StatusOK || !strings.HasPrefix(x.header.Get("Content-Type"), "text/html") {
			t.Errorf("%s: %d %s", path, x.status, x.header.Get("Content-Type"))
			continue
		}
		policy := x.header.Get("Content-Security-Policy")
		if !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") || !strings.Contains(policy, "script-src 'self';") || !strings.Contains(policy, "connect-src 'self';") {
			t.Errorf("%s: policy %q", path, policy)
		}
		if strings.HasPrefix(path, "/search") {
			continue
		}
		if !bytes.Contains(x.body, []byte("invented")) || !bytes.Contains(x.body, []byte("maker&#39;s own information")) {
			t.Errorf("%s does not say that it is demo data, or does not defer to the maker", path)
		}
		doc, err := html.Parse(bytes.NewReader(x.body))
		if err != nil {
			t.Fatal(err)
		}
		for n := range doc.Descendants() {
			if n.Type != html.ElementNode {
				continue
			}
			if n.Data == "style" || n.Data == "script" && !ownScript(n) {
				t.Errorf("%s has a <%s>", path, n.Data)
			}
			for _, a := range n.Attr {
				if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
					t.Errorf("%s has an inline %s", path, a.Key)
				}
				if strings.Contains(a.Val, "%3d") || strings.Contains(a.Val, "%3f") {
					t.Errorf("%s has the link %s, which is encoded twice", path, a.Val)
				}
				if (a.Key == "href" || a.Key == "src") && strings.HasPrefix(a.Val, "/") && !seen[a.Val] && len(seen) < 120 {
					seen[a.Val] = true
					if y := do(t, "GET", a.Val, "", browser...); y.status != http.StatusOK && (y.status != http.StatusSeeOther || !strings.HasPrefix(y.header.Get("Location"), "/sign-in?to=")) {
						t.Errorf("%s links to %s, which answers %d", path, a.Val, y.status)
					}
				}
			}
		}
	}
}

// ownScript reports whether a script element only names a script of this server.
func ownScript(n *html.Node) bool {
	src := ""
	for _, a := range n.Attr {
		if a.Key == "src" {
			src = a.Val
		}
	}
	return n.FirstChild == nil && (src == "/live.js" || src == "/bay.js" || src == "/edit.js")
}

func TestRecordPageShowsWhatAMechanicNeeds(t *testing.T) {
	x := do(t, "GET", "/fasteners/quill-1-rear-hub-nut", "", browser...)
	text := strings.ReplaceAll(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(string(x.body), ""), "\u00a0", " ")
	for _, want := range []string{"240", "N·m", "177", "lbf·ft", "216 to 264 N·m", "dry", "fit new every time", "30 mm hex socket", "Quill chassis data sheets", "sheet 3 row 2", "no impact tool", "wheel"} {
		if !strings.Contains(text, want) {
			t.Errorf("page does not show %q", want)
		}
	}
}

func TestErrorPages(t *testing.T) {
	for path, want := range map[string]struct {
		status int
		says   string
	}{
		"/fasteners/quill-1-rear-hub-nutt":  {404, `href="/fasteners/quill-1-rear-hub-nut"`},
		"/vehicles/quill-1?rear_brake=disk": {400, "disc"},
		"/nowhere":                          {404, "nothing at"},
		"/vehicles/%3Cscript%3E":            {400, "&lt;script&gt;"},
		"/search?query=%3Cscript%3E":        {200, "&lt;script&gt;"},
	} {
		x := do(t, "GET", path, "", browser...)
		if x.status != want.status || !strings.Contains(string(x.body), want.says) || bytes.Contains(x.body, []byte("<script>")) {
			t.Errorf("%s: %d without %q:\n%s", path, x.status, want.says, x.body)
		}
	}
}
