package rest

import (
	"net/http"
	"strconv"
	"strings"
)

// otherEpoch is an ETag that no document has: what a tag of another epoch becomes, so
// that a write that was made against it fails its precondition.
const otherEpoch = `"of-another-epoch"`

// tagged carries the epoch of a store that was restored in every ETag: a tag from before
// the restore matches nothing, even where the document is the same to the byte, so that
// every cached answer is fetched again.
type tagged struct {
	http.ResponseWriter
	end   string
	wrote bool
}

// withEpoch returns a request without the epoch in its tags, and a writer that puts it into
// those of the answer.
func withEpoch(w http.ResponseWriter, r *http.Request, epoch int64) (http.ResponseWriter, *http.Request) {
	end := "-e" + strconv.FormatInt(epoch, 10) + `"`
	if len(r.Header["If-None-Match"])+len(r.Header["If-Match"]) > 0 {
		c := *r
		c.Header = r.Header.Clone()
		if of := ofEpoch(r.Header["If-None-Match"], end); len(of) > 0 {
			c.Header["If-None-Match"] = of
		} else {
			delete(c.Header, "If-None-Match")
		}
		if sent := r.Header["If-Match"]; len(sent) > 0 {
			if c.Header["If-Match"] = ofEpoch(sent, end); len(c.Header["If-Match"]) == 0 {
				c.Header["If-Match"] = []string{otherEpoch}
			}
		}
		r = &c
	}
	return &tagged{ResponseWriter: w, end: end}, r
}

// ofEpoch returns the tags of a field that are of an epoch, as they are within it.
func ofEpoch(fields []string, end string) []string {
	var out []string
	for _, field := range fields {
		for tag := range strings.SplitSeq(field, ",") {
			tag = strings.TrimSpace(tag)
			if within, ok := strings.CutSuffix(tag, end); ok {
				out = append(out, within+`"`)
			} else if tag == "*" {
				out = append(out, tag)
			}
		}
	}
	if len(out) == 0 {
		return nil
	}
	return []string{strings.Join(out, ", ")}
}

// WriteHeader implements http.ResponseWriter.
func (t *tagged) WriteHeader(status int) {
	t.tag()
	t.ResponseWriter.WriteHeader(status)
}

// Write implements http.ResponseWriter.
func (t *tagged) Write(b []byte) (int, error) {
	t.tag()
	return t.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach what is below.
func (t *tagged) Unwrap() http.ResponseWriter {
	t.tag()
	return t.ResponseWriter
}

func (t *tagged) tag() {
	if t.wrote {
		return
	}
	t.wrote = true
	if tag := t.Header().Get("Etag"); strings.HasSuffix(tag, `"`) {
		t.Header()["Etag"] = []string{tag[:len(tag)-1] + t.end} // the old slice may be shared
	}
}
