package desk

import (
	"testing"

	"proofload/server/fault"
)

// A reference and a file name are shown to others and followed by them: no script, no way
// out of a folder, nothing that nobody sees.
func TestNarrationRefusesReferences(t *testing.T) {
	for _, n := range []Narration{
		{Reference: "https://videos.example/hub\u200b"}, {Reference: "https://videos.example/\u202ehub"},
		{Reference: "javascript:alert(1)"}, {Reference: " JavaScript:alert(1)"}, {Reference: "data:text/html,x"}, {Reference: "file:///etc/hub"},
		{Reference: "../hub.mp4"}, {Reference: "shelf/../../hub.mp4"}, {Reference: `..\hub.mp4`}, {Reference: "https://"}, {Reference: "https://a:b@videos.example/"},
		{Reference: "shelf 3", File: "hub\u200b.vtt"}, {Reference: "shelf 3", File: "\u202ehub.vtt"}, {Reference: "shelf 3", File: "../hub.vtt"},
		{Reference: "shelf 3", File: "/tmp/hub.vtt"}, {Reference: "shelf 3", File: `c:\hub.vtt`}, {Reference: "shelf 3", File: "javascript:x"}, {Reference: "shelf 3", File: ".."},
	} {
		if _, err := new(Desk).KeepNarration(t.Context(), n, ""); err == nil || fault.From(err).Kind != fault.InvalidArgument {
			t.Errorf("reference %q, file %q: %v", n.Reference, n.File, err)
		}
	}
	for _, reference := range []string{"https://videos.example/hub?t=3#a", "http://videos.example:8080/hub", "hub.mp4", "hub/take 2.mp4", "shelf 3, tape 12", "tape 12: hub, second take", "Häfen.mp4"} {
		if !pointsPlainly(reference) {
			t.Errorf("reference %q is refused", reference)
		}
	}
}
