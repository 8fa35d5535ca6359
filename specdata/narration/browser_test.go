package narration_test

import (
	"context"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"proofload/specdata/lexicon"
	"proofload/specdata/library"
	"proofload/specdata/narration"
)

// A real browser's text track loads both tracks with all their cues.
func TestTracksInABrowser(t *testing.T) {
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("chromium is not in the PATH; CI needs it")
		}
		t.Skip("chromium is not in the PATH: the tracks are not tried in a browser")
	}
	l := demoLibrary(t)
	const id = "quill-1-rear-hub-bearing"
	cues, err := narration.Read("a.txt", []byte(file(t, id+".txt")))
	if err != nil {
		t.Fatal(err)
	}
	p := library.Procedure(l, id)
	c, err := narration.Check(t.Context(), p, l, lexicon.Default(), "", cues)
	if err != nil {
		t.Fatal(err)
	}
	tracks := map[string]string{"/captions.vtt": narration.Callouts(c, l), "/chapters.vtt": narration.Chapters(c, p)}
	page := `<!doctype html><video><track kind="captions" default src="/captions.vtt"><track kind="chapters" default src="/chapters.vtt"></video><pre id="out"></pre><script>
var left = 2;
document.querySelectorAll("track").forEach(function (t) {
  t.track.mode = "hidden";
  function done(word) {
    var n = t.track.cues ? t.track.cues.length : -1;
    var text = n > 0 ? Array.from(t.track.cues).map(function (c) { return c.startTime + "-" + c.endTime + " " + c.getCueAsHTML().textContent.replace(/\n/g, " | "); }).join("\n") : "";
    document.getElementById("out").textContent += t.kind + " " + word + " " + n + "\n" + text + "\n";
    left--;
  }
  t.addEventListener("load", function () { done("loaded"); });
  t.addEventListener("error", function () { done("failed"); });
});
</script>`
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if track, ok := tracks[r.URL.Path]; ok {
			w.Header().Set("Content-Type", "text/vtt; charset=utf-8")
			fmt.Fprint(w, track)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprint(w, page)
	}))
	defer server.Close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
		"--user-data-dir="+t.TempDir(), "--virtual-time-budget=8000", "--dump-dom", server.URL).Output()
	if err != nil {
		t.Fatalf("chromium: %v", err)
	}
	dom := html.UnescapeString(string(out))
	for name, track := range tracks {
		kind := strings.TrimSuffix(strings.TrimPrefix(name, "/"), ".vtt")
		if want := fmt.Sprintf("%s loaded %d", kind, strings.Count(track, " --> ")); !strings.Contains(dom, want) {
			t.Errorf("the browser does not say %q:\n%.3000s", want, dom)
		}
	}
	if !strings.Contains(dom, "240 N·m | 177 lbf·ft | Stub-axle collar nut") {
		t.Errorf("the browser has no cue of 240 N·m:\n%.3000s", dom)
	}
}
