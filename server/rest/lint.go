package rest

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"

	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
)

// lintBody lets one document stand for the whole request, so that checking a file
// is one command: YAML by its media type, JSON where the body has a kind.
func lintBody(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		file := ""
		switch mediaOf(r) {
		case "application/json":
			file = "body.json"
		case "application/yaml", "application/x-yaml", "text/yaml":
			file = "body.yaml"
		default:
			fail(w, r, unsupported(r, "application/json", "application/yaml"))
			return
		}
		body, err := io.ReadAll(r.Body)
		if err != nil {
			fail(w, r, err)
			return
		}
		if file == "body.yaml" || hasKind(body) {
			in := &pb.LintDocumentsRequest{Documents: []*pb.InputDocument{{File: file, Text: string(bytes.ToValidUTF8(body, []byte("\uFFFD")))}}}
			if body, err = protojson.Marshal(in); err != nil {
				fail(w, r, err)
				return
			}
		}
		if err := readJSON(body, &pb.LintDocumentsRequest{}); err != nil {
			fail(w, r, err)
			return
		}
		r.Header.Set("Content-Type", "application/json")
		r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
		next.ServeHTTP(w, r)
	})
}

// hasKind reports whether a body is a JSON object with the member every document has.
func hasKind(body []byte) bool {
	var head struct {
		Kind json.RawMessage `json:"kind"`
	}
	return json.Unmarshal(body, &head) == nil && head.Kind != nil
}
