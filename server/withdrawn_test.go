package main

import (
	"net/http"
	"strings"
	"testing"
)

// The document of a withdrawn record is gone, to who holds it from before as well. As it
// was at a moment before, it can still be read.
func TestDocumentOfAWithdrawnRecord(t *testing.T) {
	r, _ := proving(t)
	path := "/v1/procedures/dray-2-rear-silencer/document" // withdrawn at position 3
	before := doAt(t, r, "GET", path+"?at=position:1", "")
	if before.status != http.StatusOK || before.header.Get("ETag") == "" {
		t.Fatalf("as it was: %d %s", before.status, before.body)
	}
	for what, x := range map[string]exchange{
		"plain":                doAt(t, r, "GET", path, ""),
		"with the tag of then": doAt(t, r, "GET", path, "", "If-None-Match", before.header.Get("ETag")),
		"with any tag":         doAt(t, r, "GET", path, "", "If-None-Match", "*"),
		"at its withdrawal":    doAt(t, r, "GET", path+"?at=position:3", "", "If-None-Match", before.header.Get("ETag")),
	} {
		if x.status != http.StatusGone || !strings.Contains(string(x.body), "RECORD_WITHDRAWN") || !strings.Contains(string(x.body), "the maker changed the hangers") {
			t.Errorf("%s: %d %s, want 410", what, x.status, x.body)
		}
	}
}
